"""The tables that a report writes for other tools: units in the header, in square brackets."""

from __future__ import annotations

import pandas as pd

from brewlog.report.results import Results

TABLE_COLUMNS = (
    "brew", "date", "rig", "control", "control_from",
    "conversion", "conversion_sd", "lauter", "lauter_sd", "mash", "mash_sd", "brewhouse", "brewhouse_sd",
    "hold_rms", "hold_rms_sd", "hold_bias", "hold_from", "lateness", "grist", "malt_extract", "mill_gap", "thickness",
    "mash_time", "mash_out", "sparge", "pre_boil_volume", "pre_boil_gravity", "planned_gravity", "planned_volume",
    "changes", "pair", "missing",
)  # fmt: skip
CONSTANT_COLUMNS = ("rig", "constant", "estimate", "sd", "low", "high", "unit", "brews", "verdict", "rests_on")
FINDING_COLUMNS = ("finding", "quantity", "estimate", "low", "high", "unit", "verdict", "sentence")


def table_frame(results: Results) -> pd.DataFrame:
    """The brew table with units in its header; columns of the brewer's own stand behind the others."""
    table = results.table
    units = table.attrs.get("units", {})
    own = [name for name in table.columns if name not in TABLE_COLUMNS]
    frame = table.reindex(columns=[*TABLE_COLUMNS, *own])
    return frame.rename(
        columns={name: f"{name} [{units[name]}]" for name in frame if units.get(name, "") not in ("", "1")}
    )


def constants_frame(results: Results) -> pd.DataFrame:
    """Constants of all rigs, one row each."""
    parts = [fit.constants.rename_axis("constant").reset_index().assign(rig=rig) for rig, fit in results.fits.items()]
    frame = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    return frame.reindex(columns=list(CONSTANT_COLUMNS))


def findings_frame(results: Results) -> pd.DataFrame:
    """Findings with their intervals and sentences, one row each."""
    rows: list[dict[str, object]] = []
    relation, change = results.relation, results.change
    if relation is not None:
        about = f"{relation.response} efficiency against tightness"
        for quantity, effect, sentence in (
            ("gain, tight against loose half", relation.gain, relation.sentence),
            ("effect of moving the control sensor", relation.control_effect, relation.control_sentence),
        ):
            rows.append(
                {"finding": about, "quantity": quantity, "estimate": effect.estimate, "low": effect.low,
                 "high": effect.high, "unit": "points", "verdict": relation.verdict, "sentence": sentence}
            )  # fmt: skip
    if change is not None:
        about = f"change of {change.response} efficiency from {change.before} to {change.after}"
        rows.append(
            {"finding": about, "quantity": "measured difference", "estimate": change.total,
             "low": change.total - change.noise, "high": change.total + change.noise, "unit": "points",
             "sentence": change.sentence}
        )  # fmt: skip
        for _, piece in change.pieces.iterrows():
            rows.append(
                {"finding": about, "quantity": piece["what"], "estimate": piece["estimate"], "low": piece["low"],
                 "high": piece["high"], "unit": "points"}
            )  # fmt: skip
        rows.append({"finding": about, "quantity": "unexplained", "estimate": change.unexplained, "unit": "points"})
    return pd.DataFrame(rows, columns=list(FINDING_COLUMNS))
