"""The extract balance of a brew in words and numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from brewlog.wort.account import STAGE_STATES

if TYPE_CHECKING:
    from brewlog.wort.result import ExtractBalance

DEFINITIONS = {
    "conversion": "extract dissolved at the end of the mash / potential",
    "lauter": "extract in the kettle before the boil / extract dissolved",
    "mash": "extract in the kettle before the boil / potential",
    "brewhouse": "extract from malt in the fermenter / potential",
}
"""What each efficiency is."""


def account_text(balance: ExtractBalance) -> str:
    """Efficiencies, stages, where extract was lost, checks and notes, one line each."""
    parts = (_efficiencies(balance), _stages(balance), _losses(balance), _checks(balance))
    text = "\n\n".join("\n".join(lines) for lines in parts if lines)
    notes = [f"[{number}] {note}" for number, note in enumerate(balance.notes, start=1)]
    return "\n".join([f"Extract balance of brew {balance.brew}\n", text, *notes])


def _efficiencies(balance: ExtractBalance) -> list[str]:
    coarse = balance.potential_coarse
    if balance.potential is None:
        lines = [f"potential      not known: {balance.reasons['potential']}"]
    else:
        lines = [f"potential      {_pm(balance.potential, 2)} kg extract, fine grind; coarse grind {_pm(coarse, 2)} kg"]
    table = balance.efficiencies
    for name, definition in DEFINITIONS.items():
        value = getattr(balance, name)
        if value is None:
            reason = balance.reasons.get(name, "no reading")
            lines.append(f"{name:<14} {'' if reason.startswith('not recorded') else 'not known: '}{reason}")
            continue
        row = table.loc[name]
        known = pd.notna(row["against_coarse"])
        other = f"; coarse grind {row['against_coarse']:.1f} ± {row['against_coarse_sd']:.1f} %" if known else ""
        lines.append(f"{name:<14} {_pm(value, 1)} %{other}   ({definition})")
    return lines


def _stages(balance: ExtractBalance) -> list[str]:
    """Volume, gravity and extract by stage, and which of them were worked out from the others."""
    lines = []
    for stage, (volume, extract) in STAGE_STATES.items():
        shown = [
            f"{_pm(table[stage], digits)} {unit}"
            for table, digits, unit in (
                (balance.volume, 1, "L"),
                (balance.gravity, 4, "SG"),
                (balance.extract_mass, 2, "kg"),
            )
            if stage in table
        ]
        guessed = [
            word
            for word, state, table in (("volume", volume, balance.volume), ("gravity", extract, balance.gravity))
            if stage in table and state not in balance.read
        ]
        remark = f"   ({' and '.join(guessed)} worked out)" if guessed else ""
        if shown:
            lines.append(f"{stage:<14} {', '.join(shown)}{remark}")
    return lines


def _losses(balance: ExtractBalance) -> list[str]:
    """Steps from potential to fermenter; nothing where only the potential is known."""
    steps = balance.waterfall
    if len(steps) < 2:
        return []
    lines = ["Where the extract went"]
    for step, row in steps.iterrows():
        share = "" if pd.isna(row["share"]) else f"  {row['share']:6.1f} %"
        lines.append(f"{step!s:<38} {row['estimate']:7.2f} ± {row['sd']:.2f} kg{share}")
    return lines + list(dict.fromkeys(text for text in steps["would_tell"] if text))


def _checks(balance: ExtractBalance) -> list[str]:
    """The test of the whole, and what is wrong or seldom met."""
    verdicts = balance.checks["verdict"].astype(str)
    wrong = verdicts[verdicts.str.contains("cannot be|seldom met|may be wrong|most likely")]
    return [f"check          {verdicts.iloc[0]}"] + [
        f"               {check}: {verdict}" for check, verdict in wrong.items() if check != "whole account"
    ]


def _pm(value: Any, digits: int) -> str:
    return f"{value.nominal_value:.{digits}f} ± {value.std_dev:.{digits}f}"
