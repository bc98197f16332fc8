"""Every sentence a finding can say, in one place: library, notebook and page use these and no others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

VERDICTS = ("supported", "leaning", "opposite", "too small to matter", "not settled", "refused")

RELATION: Mapping[str, str] = MappingProxyType(
    {
        "supported": (
            "Over {n} brews, holding the mash at about {tight} K instead of {loose} K goes with {gain} points more "
            "{response} efficiency (95 % range {low} to {high}), after allowing for {allowed}. It holds when the "
            "assumptions are loosened and when any one of the most telling brews is left out."
        ),
        "leaning": (
            "The log leans towards a gain of {gain} points of {response} efficiency ({low} to {high}) from holding the "
            "mash at about {tight} K instead of {loose} K, but it rests on {rests_on}. Treat it as a reason to test."
        ),
        "opposite": (
            "Over {n} brews, holding the mash at about {tight} K instead of {loose} K goes with {loss} points less "
            "{response} efficiency (95 % range {less_low} to {less_high}), after allowing for {allowed}. Look for what "
            "else came with the tighter brews before believing it."
        ),
        "too small to matter": (
            "Over {n} brews, holding the mash at about {tight} K instead of {loose} K moved {response} efficiency by "
            "less than one point either way ({low} to {high}): too small to matter."
        ),
        "not settled": (
            "The log cannot settle this: anything from {low} to {high} points of {response} efficiency fits. {hardest}"
            "{brews} brews in random tight/loose order would have a chance of {chance} % to show {effect} points."
        ),
        "refused": (
            "The log cannot tell whether tighter holding went with more {response} efficiency: {reason}. What would "
            "help: {help}."
        ),
    }
)

COINCIDES = (
    "The log cannot settle this: the control sensor was moved {when}, and with it came {rival}, which alone may "
    "be worth up to {worth} points. Taken at face value the gain is {gain} points of {response} efficiency ({low} to "
    "{high}). {hardest}{brews} brews in random tight/loose order would have a chance of {chance} % to show "
    "{effect} points."
)
HARDEST = "Hardest to tell apart from tightness: {culprit}. "
RESTS_ON_STEP = "nothing else worth two points having come unwritten with the move of the sensor"
RESTS_ON_RINSE = "the rinse: the gain sits in lauter efficiency, not in conversion, and is not credited to the rests"

REFUSALS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "few": (
            "only {n} {brews} can be used, and 8 are needed",
            "brews with volume and gravity read and with a probe in the bed{lost}",
        ),
        "side": (
            "only {few} of {n} brews were held {side} ({sign} {split} K), and 3 are needed on each side",
            "brews in random tight/loose order, three or more of each",
        ),
        "vague": (
            "the tightness is not known well enough, its own uncertainty ({uncertainty} K) is most of its spread "
            "({spread} K)",
            "a probe in the bed on every brew, checked against one good thermometer",
        ),
        "narrow": (
            "all brews were held about equally tightly ({spread} K between the 10 and 90 % points, 0.3 K are needed)",
            "some brews held loosely on purpose, in random order",
        ),
        "wide": (
            "the brews leave the gain per kelvin open within {sd} points",
            "brews in random tight/loose order with everything else alike",
        ),
        "flat": (
            "with flat priors the columns cannot be told apart at all ({columns} columns, {n} brews)",
            "priors of finite width, or fewer columns",
        ),
    }
)

SINGLE_MOVE = (
    "The control sensor was moved once{where} ({when}); whatever else changed at that time changed with it, and the "
    "log cannot tell them apart.{wrote}"
)
MOVES = "The control sensor was moved for good {count} ({when}).{wrote}"
WROTE = " Written down for that week: {changes}."
NOTHING_WRITTEN = " Nothing else was written down for that week."
CAME_WITH = " Recorded settings that came with it: {columns}."

CONTROL = (
    "Moving the control sensor from the base into the mash is worth {gain} points of {response} efficiency ({low} to "
    "{high}): tighter holding{caused}. {bound}"
)
CONTROL_BOUND = "With whatever else came unwritten with the move it is {gain} ({low} to {high})."
CONTROL_SAME = "Whatever else may have come unwritten with the move makes no difference to these numbers."
NO_STEP = (
    "No lasting move of the control sensor is on record (four brews or more on either side, where it moved more than "
    "once), so there is no one time at which other things could have changed with it: the model has no step there, and "
    "with a step of any size the gain would be the same."
)
CONTROL_NO_STEP = "No lasting move is on record, so nothing unwritten is counted with it."
CONTROL_UNKNOWN = "What moving the control sensor does cannot be told: {reason}."

MILL = (
    "All else alike, a mill gap finer by 0.1 mm went with {gain} points of {response} efficiency ({low} to {high})"
    "{verdict}. The gaps of this log run from {finest} to {widest} mm{usual}."
)
MILL_USUAL = "; before it looks at the brews, the fit takes {usual} ± {sd} points for usual"
MILL_OPEN = ": the range includes zero, so the log cannot tell whether it raised or lowered it"

CHANGE = (
    "From {before} to {after} the mean {response} efficiency changed by {total} points ({n_before} and {n_after} "
    "brews; measuring error alone would make {noise}). {pieces}{unexplained}"
)
CHANGE_WITHIN = "That is no more than measuring error alone would make. "
CHANGE_TELLS = "What the log can tell: {pieces}. "
CHANGE_OPEN = "For {pieces} the range includes zero, so the log cannot say that it raised or lowered anything. "
CHANGE_NONE = "For none of the pieces can the log say that it raised or lowered efficiency: every range includes zero. "
UNEXPLAINED = "Left unexplained: {unexplained} points."
CHANGE_REFUSED = "The log cannot say why {response} efficiency changed: {reason}."

WHERE = (
    "By first-wort gravity, tighter holding goes with {conversion} points through conversion ({conversion_low} to "
    "{conversion_high}) and {lauter} through the rinse ({lauter_low} to {lauter_high}). "
)
WHERE_RINSE = "The gain sits in the rinse, and is not credited to the rests."
WHERE_MASH = "The gain sits in the mash itself."
WHERE_OPEN = "The log cannot tell in which of the two it sits."
WHERE_UNKNOWN = "Where a gain sits, in the mash or in the rinse, cannot be told: {reason}."

PLAN = (
    "{brews} brews in {pairs} random tight/loose pairs have a chance of {chance} % to show {effect} points "
    "({brews_low} to {brews_high} brews if the scatter is 30 % smaller or larger than the {scatter} points "
    "found so far)."
)
PLAN_TOO_MANY = (
    "More than {brews} brews would be needed to show {effect} points with a chance of {chance} % at a scatter of "
    "{scatter} points: measure better first."
)
LOOKS = (
    "Decide after brew {brews}. Looking earlier is fine, but claim an effect before the end only if the two-sided "
    "probability is below 0.001: looking every second brew at 0.05 finds an effect that is not there about "
    "one time in ten."
)


def join(items: Sequence[str], last: str = "and") -> str:
    """List in words.

    Examples
    --------
    >>> join(["a", "b", "c"])
    'a, b and c'
    """
    items = list(items)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def points(value: float) -> str:
    """Points with one decimal, and no minus zero.

    Examples
    --------
    >>> points(-0.04)
    '0.0'
    """
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text


def kelvin(value: float) -> str:
    """Kelvin with one decimal, two below one."""
    return f"{value:.1f}" if value >= 0.95 else f"{value:.2f}"
