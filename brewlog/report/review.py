"""One brew day put together: what was planned and reached, how the rests were held, and the sentences that say so."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

import pandas as pd

from brewlog.figures.units import UnitChoice
from brewlog.findings.brew_day import BrewDay, brew_day
from brewlog.logbook.records import Brew, Rig
from brewlog.mash import Hold, control_sensor
from brewlog.report.words import number, value_of
from brewlog.rig import RigFit, calibrate
from brewlog.wort import ExtractBalance, extract_from_sg, extract_mass

if TYPE_CHECKING:
    from brewlog.logbook import Logbook


@dataclass(frozen=True)
class BrewReview:
    """What the logbook says of one brew day."""

    brew: Brew
    rig: Rig | None
    balance: ExtractBalance
    held: Hold
    control: str | None
    """Sensor that the controller followed: `base` or `mash`; None where nothing tells."""
    control_from: str | None
    """`recorded` or `trace`."""
    reconstructed: pd.DataFrame | None
    """Mash temperature with its sd where no probe stood; None where it was measured or cannot be told."""
    reasons: tuple[str, ...]
    """Why something is missing."""
    units: str = "metric"
    """Units in which the notebook shows it: `metric` or `us`."""

    @property
    def sentences(self) -> tuple[str, ...]:
        """The day in plain words, planned against reached first; in canonical units."""
        return (planned_sentence(self.brew, self.balance), efficiency_sentence(self.balance), hold_sentence(self.held))

    @property
    def recorded(self) -> pd.DataFrame:
        """Events of the day and faults of its trace in order of time: `what`, `start` and `end` [min], `remark`."""
        events: list[tuple[str, float, float, str]] = [
            (event.event, event.elapsed / 60, event.elapsed / 60, "event") for event in self.brew.events
        ]
        faults: list[tuple[str, float, float, str]] = [
            (f"{fault.channel or 'trace'}: {fault.kind}", fault.start / 60, fault.end / 60, fault.action)
            for fault in self.brew.trace_faults
        ]
        rows = [*events, *faults]
        rows.sort(key=lambda row: row[1])
        frame = pd.DataFrame(rows, columns=["what", "start", "end", "remark"])
        frame.attrs["units"] = {"start": "min", "end": "min"}
        return frame

    def to_dict(self) -> dict[str, Any]:
        """Sentences, tightness and efficiencies as plain values ready for JSON, in canonical units; missing is None."""
        efficiencies = {
            str(name): {
                key: None if pd.isna(row[key]) else float(row[key]) for key in ("estimate", "sd", "low", "high")
            }
            for name, row in self.balance.efficiencies.iterrows()
        }
        return {
            "brew": self.brew.label, "control": self.control, "control_from": self.control_from,
            "sentences": list(self.sentences), "efficiencies": efficiencies, "hold": self.held.to_dict(),
            "reasons": list(self.reasons),
        }  # fmt: skip

    def _repr_html_(self) -> str:
        return as_html(self.sentences, self.units)


def as_html(sentences: Sequence[str], units: str = "metric") -> str:
    """Sentences as paragraphs for a notebook, escaped, in the reader's units.

    Examples
    --------
    >>> as_html(["held within 0.5 K <b>"], "us")
    '<p>held within 0.9 °F &lt;b&gt;</p>'
    """
    choice = UnitChoice(units)
    return "".join(f"<p>{escape(choice.in_words(sentence))}</p>" for sentence in sentences)


def review_brew(
    book: Logbook,
    label: str | None = None,
    fits: Mapping[str, RigFit] | None = None,
    units: str = "metric",
    day: BrewDay | None = None,
) -> BrewReview:
    """Put together what the logbook says of one brew.

    Parameters
    ----------
    book : Logbook
    label : str, optional
        The brew's label; the latest brew with a trace when None, the latest of all where none has one.
    fits : mapping of str to RigFit, optional
        Constants by rig; the brew's own rig is calibrated here when None. Without constants a day on which no probe
        stood in the bed has no tightness.
    units : str
        `metric` or `us`: units in which a notebook shows the review.
    day : BrewDay, optional
        That brew's account and hold where they were worked out already; worked out here when None.

    Returns
    -------
    BrewReview

    Raises
    ------
    KeyError
        If the logbook has no such brew; the nearest label is named.
    ValueError
        If the logbook has no brew at all, or a record makes account or hold impossible.
    """
    brew = latest_brew(book) if label is None else book.brews[label]
    rig = book.rig_of(brew)
    reasons: list[str] = []
    fit = None
    if rig is not None:
        try:
            fit = calibrate(book, rig) if fits is None else fits.get(rig.label)
        except ValueError as error:
            reasons.append(f"constants of rig {rig.label}: {error}")
    if day is None:
        day = brew_day(brew, rig, fit)
    if day.balance is None or day.held is None:
        raise ValueError("; ".join(day.reasons.values()))
    if "reconstructed" in day.reasons:
        reasons.append(day.reasons["reconstructed"])
    control, control_from = control_sensor(brew)
    return BrewReview(
        brew,
        rig,
        day.balance,
        day.held,
        control,
        control_from,
        day.reconstructed,
        (*reasons, *grouped(day.balance.reasons, day.held.reasons)),
        UnitChoice(units).system,
    )


def latest_brew(book: Logbook) -> Brew:
    """The latest brew with a trace; the latest of all where none has one.

    Raises
    ------
    ValueError
        If the logbook has no brew.
    """
    brews = list(book.brews.values())
    if not brews:
        raise ValueError("the logbook has no brew; expected at least one row in brews.csv.")
    return next((brew for brew in reversed(brews) if brew.trace is not None), brews[-1])


def grouped(*tables: Mapping[str, str]) -> list[str]:
    """Reasons with the names of what each costs, so that none is told twice.

    Examples
    --------
    >>> grouped({"lauter": "no first wort", "conversion": "no first wort"}, {"lead": "no trace"})
    ['lauter, conversion: no first wort', 'lead: no trace']
    """
    found: dict[str, list[str]] = {}
    for table in tables:
        for what, why in table.items():
            found.setdefault(why, []).append(what.replace("_", " "))
    return [f"{', '.join(names)}: {why}" for why, names in found.items()]


def planned_sentence(brew: Brew, balance: ExtractBalance) -> str:
    """Pre-boil volume and gravity as planned and as reached, and the extract between them.

    The extract that was planned is taken as exact; the range is that of the readings.
    """
    volume, gravity = balance.volume.get("pre-boil"), balance.gravity.get("pre-boil")
    if volume is None and gravity is None:
        return "Neither volume nor gravity was read before the boil, so planned and reached cannot be compared."
    litres = "a volume that was not read" if volume is None else number(*value_of(volume), "L")
    density = "a gravity that was not read" if gravity is None else f"SG {number(*value_of(gravity))}"
    reached = f"The kettle held {litres} at {density} before the boil"
    if brew.planned_gravity is None or brew.planned_volume is None:
        return f"{reached}; no plan was recorded to compare it with."
    plan = f"the plan was {brew.planned_volume:.1f} L at SG {brew.planned_gravity:.3f}"
    mass: Any = balance.extract_mass.get("pre-boil")
    if mass is None:
        return f"{reached}; {plan}."
    planned_mass = float(extract_mass(brew.planned_volume, extract_from_sg(brew.planned_gravity)))
    ratio, sd = value_of(100 * (mass / planned_mass - 1))
    assert ratio is not None
    change = f"{number(abs(ratio), sd)} % {'more' if ratio >= 0 else 'less'} extract than planned"
    if sd is not None and abs(ratio) < 2 * sd:
        change += ", which the readings cannot tell from the plan"
    return f"{reached}; {plan}. That is {change}."


def efficiency_sentence(balance: ExtractBalance) -> str:
    """Mash and brewhouse efficiency with one standard deviation, or why there is none."""
    parts = []
    for name, words in (("mash", "mash efficiency"), ("brewhouse", "brewhouse efficiency")):
        value = getattr(balance, name)
        if value is None:
            parts.append(f"{words} is not known ({balance.reasons.get(name, 'no readings')})")
        else:
            parts.append(f"{words} was {number(*value_of(value), '%')}")
    text = "; ".join(parts)
    return text[0].upper() + text[1:] + "."


def hold_sentence(held: Hold) -> str:
    """How tightly the rests were held, and on which temperatures that rests."""
    overall = held.overall
    if overall["hold_from"] is None or not math.isfinite(overall["hold_rms"]):
        why = held.reasons.get("hold_rms", "no mash temperature")
        return f"How tightly the rests were held is not known: {why}."
    source = {
        "probe": "measured by the probe in the bed",
        "reconstructed": "reconstructed from the base sensor and the rig's constants, as no probe stood in the bed",
    }[overall["hold_from"]]
    bias, sd = float(overall["hold_bias"]), overall["hold_rms_sd"]
    return (
        f"The bed was {number(overall['hold_rms'], sd, 'K')} away from its rests (root mean square over their time), "
        f"on average {number(abs(bias), sd, 'K')} {'above' if bias >= 0 else 'below'} them. Its temperature was "
        f"{source}, and is known for {100 * overall['seen']:.0f} % of that time."
    )
