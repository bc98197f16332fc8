"""Rows of one table that belong to rows of another: labels, brews and rigs that are known or not."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from brewlog.logbook import layout
from brewlog.logbook.complaints import Complaints
from brewlog.logbook.folder import can_be_a_file
from brewlog.logbook.headers import shown
from brewlog.logbook.layout import FileLayout
from brewlog.logbook.problems import some_of
from brewlog.logbook.records import Rig
from brewlog.logbook.rows import Row

MANY = 20
"""Brews lacking the same that are reported one by one; more are reported together."""
LONGEST_LABEL = 200
"""Longest label of a brew, a rig or a water test. [characters]"""


def unique(file: FileLayout, rows: list[Row], told: Complaints) -> list[Row]:
    """Rows with a label that no earlier row has."""
    key = file.columns[0].target
    seen: dict[str, tuple[str, int]] = {}
    kept = []
    for row in rows:
        label = row.values[key]
        if len(label) > LONGEST_LABEL:
            wish = f"a label of at most {LONGEST_LABEL} characters"
            told.complain(file.name, row.line, file.columns[0].name, label, wish, "this row is left out")
            continue
        if file is not layout.RIGS and not can_be_a_file(label):
            wish = "a label that can be a file's name, without / and \\"
            told.complain(file.name, row.line, file.columns[0].name, label, wish, "it can have no trace")
        before = seen.get(label.casefold())
        if before:
            like = f"{label} (line {before[1]} has {before[0]!r})"
            told.complain(file.name, row.line, file.columns[0].name, like, "a label of its own", "this row is left out")
            continue
        seen[label.casefold()] = (label, row.line)
        kept.append(row)
    return kept


def own_name(row: Row, brew_rows: list[Row], told: Complaints) -> bool:
    """False where a water test has the name of a brew."""
    label = row.values["label"]
    clash = next((b for b in brew_rows if b.values["brew"].casefold() == label.casefold()), None)
    if clash is not None:
        told.complain(
            "water_tests.csv",
            row.line,
            "test",
            label,
            f"a label that no brew has (brews.csv, line {clash.line})",
            "this test is left out",
        )
    return clash is None


def by_brew(file: FileLayout, rows: list[Row], brew_rows: list[Row], told: Complaints) -> dict[str, list[Row]]:
    """Rows of a file by brew; rows of unknown brews are reported."""
    labels = {row.values["brew"]: None for row in brew_rows}
    folded = {label.casefold(): label for label in labels}
    found: dict[str, list[Row]] = {}
    lines: dict[tuple[str, ...], int] = {}
    for row in rows:
        label = row.values["brew"]
        if label not in labels:
            other = folded.get(label.casefold())
            if other is not None:
                told.complain(file.name, row.line, "brew", label, "a brew in brews.csv", f"read as {other!r}", "note")
                label = other
            else:
                wish = f"a brew in brews.csv{told.hint(label, labels, file.name)}"
                told.complain(file.name, row.line, "brew", label, wish, "this row is left out")
                continue
        owned = found.setdefault(label, [])
        before = lines.setdefault(tuple(row.cells.values()), row.line)
        if before != row.line and (file in (layout.GRIST, layout.ADDITIONS) or row.values.get("event") == "hops"):
            told.complain(
                file.name, row.line, None, f"the same as line {before}", "every row once", "both count", "note"
            )
        owned.append(row)
    return found


def known_rig(file: FileLayout, row: Row, rigs: Mapping[str, Rig], told: Complaints) -> str | None:
    """Label of the rig that a row names; the only rig where it names none."""
    label = row.values.get("rig")
    if label is None:
        if len(rigs) > 1:
            wish = f"one of {', '.join(list(rigs)[:5])}"
            told.complain(file.name, row.line, "rig", "no rig", wish, "its rig is not known", "note")
        return next(iter(rigs)) if len(rigs) == 1 else None
    if label in rigs:
        return str(label)
    folded = {known.casefold(): known for known in rigs}
    if label.casefold() in folded:
        told.complain(
            file.name, row.line, "rig", label, "a rig in rigs.csv", f"read as {folded[label.casefold()]!r}", "note"
        )
        return folded[label.casefold()]
    hint = told.hint(label, rigs, file.name)
    cost = "this row is left out" if file is layout.CHANNELS_FILE else "the rig of this row is not known"
    told.complain(file.name, row.line, "rig", label, f"a rig in rigs.csv{hint}", cost)
    return None


def assumed_rigs(brew_rows: list[Row]) -> dict[str, Rig]:
    """Rigs named in brews.csv where rigs.csv has none; one rig where nothing is named."""
    named = list(dict.fromkeys(str(row.values["rig"]) for row in brew_rows if row.values.get("rig")))
    return {label: Rig(label) for label in named or ["rig"]} if brew_rows else {}


def tell_missing(
    brew_rows: list[Row],
    per_brew: Mapping[str, Any],
    traces: Mapping[str, Any],
    present: Collection[str],
    told: Complaints,
) -> None:
    """Note what a brew lacks of the files that this logbook has."""
    kinds = [
        (file.name, per_brew[file.name], f"no row of it in {file.name}", cost)
        for file, cost in (
            (layout.GRIST, "its efficiency cannot be known"),
            (layout.READINGS, "its extract cannot be known"),
        )
    ]
    if not traces and layout.TRACE_FOLDER not in present and per_brew[layout.RESTS.name]:
        wish, cost = f"traces in a folder {layout.TRACE_FOLDER!r}", "how the rests were held cannot be known"
        told.complain(layout.RESTS.name, None, None, "rests, but no trace of any brew", wish, cost, "note")
    if traces:
        kinds.append((layout.TRACE_FOLDER, traces, "no trace of it", "how its rests were held cannot be known"))
    for name, owned, found, cost in kinds:
        if name not in present and f"{name}.gz" not in present:
            continue
        if any(p.severity == "problem" and p.file.startswith(name) for p in told.problems):
            continue  # what is missing here may be what could not be read there
        lacking = [row for row in brew_rows if row.values["brew"] not in owned]
        if name == layout.TRACE_FOLDER:
            lacking = [row for row in lacking if can_be_a_file(row.values["brew"])]
        for row in lacking[:MANY]:
            label = shown(row.values["brew"])
            wish = f"a trace traces/{label}.csv" if name == layout.TRACE_FOLDER else f"rows of brew {label!r}"
            told.complain("brews.csv", row.line, "brew", found, wish, cost, "note")
        if len(lacking) > MANY:
            found = f"{len(lacking) - MANY} more brews with {found}"
            told.complain("brews.csv", lacking[MANY].line, "brew", found, "one for each", cost, "note")


def tell_half_boils(per_brew: Mapping[str, list[Row]], told: Complaints) -> None:
    """Note once, with their number, the brews of whose boil events.csv has the start alone, or the end alone."""
    events = {label: {row.values["event"]: row for row in reversed(rows)} for label, rows in per_brew.items()}
    for there, missing, cost in (
        ("boil", "boil end", "the boil counts as long as planned, its end is looked for in the trace"),
        ("boil end", "boil", "the boil counts as long as planned, its start is looked for in the trace"),
    ):
        half = {label: found[there] for label, found in events.items() if there in found and missing not in found}
        if half:
            found = f"{there} without {missing} in {some_of([shown(label) for label in half], 'brew')}"
            wish = "both, the start and the end of the boil"
            line = min(row.line for row in half.values())
            told.complain(layout.EVENTS_FILE.name, line, "event", found, wish, cost, "note")


def tell_traceless(row: Row, traces: Mapping[str, Any], told: Complaints) -> None:
    """Note a water test without a trace."""
    label = row.values["label"]
    if label not in traces:
        wish = f"a trace traces/{shown(label)}.csv"
        told.complain("water_tests.csv", row.line, "test", label, wish, "this test tells nothing", "note")
