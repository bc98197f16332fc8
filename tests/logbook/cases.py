"""The cases of the corpus, by family."""

from __future__ import annotations

import gzip
import math
import unicodedata
from collections.abc import Callable

from tests.logbook.corpus import CASES, GOOD, case, cells, clock_trace, elapsed_trace, german, mash_day, rows, swap

__all__ = ["CASES"]

GRIST, BREWS, READINGS, RESTS, RIGS, EVENTS = (
    GOOD[f"{name}.csv"] for name in ("grist", "brews", "readings", "rests", "rigs", "events")
)
L1, L2 = GOOD["traces/l1.csv"], GOOD["traces/l2.csv"]


def text_family() -> None:
    family = "text"
    case(family, "as it is", "clean", {})
    for file in ("brews.csv", "grist.csv", "traces/l1.csv"):
        text = GOOD[file]
        case(family, f"byte-order mark {file}", "clean", {file: b"\xef\xbb\xbf" + text.encode()})
        case(family, f"utf-16 {file}", "clean", {file: text.encode("utf-16")})
        case(family, f"crlf {file}", "clean", {file: text.replace("\n", "\r\n")})
        case(family, f"cr {file}", "clean", {file: text.replace("\n", "\r")})
        case(family, f"no last line end {file}", "clean", {file: text.rstrip("\n")})
        case(family, f"blank lines {file}", "clean", {file: text.replace("\n", "\n\n")})
        case(family, f"semicolons {file}", "note", {file: text.replace('"slow, calm"', "slow").replace(",", ";")})
        case(family, f"tabs {file}", "note", {file: text.replace('"slow, calm"', "slow").replace(",", "\t")})
        case(family, f"decimal comma {file}", "note", {file: german(text.replace('"slow, calm"', "slow"))})
        case(
            family,
            f"all quoted {file}",
            "clean",
            {
                file: "\n".join(
                    '"' + line.replace('"slow, calm"', "slow").replace(",", '","') + '"' for line in text.splitlines()
                )
                + "\n"
            },
        )
        case(family, f"trailing separators {file}", "clean", {file: text.replace("\n", ",\n")})
        case(family, f"sep line {file}", "clean", {file: "sep=,\n" + text})
    case(
        family,
        "latin-1 degree sign",
        "note",
        swap("brews.csv", "[degC]", "[\u00b0C]", 9)
        and {"brews.csv": BREWS.replace("[degC]", "[\u00b0C]").encode("latin-1")},
    )
    case(family, "degree sign in utf-8", "clean", {"brews.csv": BREWS.replace("[degC]", "[\u00b0C]")})
    case(
        family,
        "umlaut in windows-1252",
        "note",
        {"brews.csv": BREWS.replace("new hose", "n\u00e4her").encode("cp1252")},
    )
    case(family, "utf-16 without mark", "note", {"grist.csv": GRIST.encode("utf-16-le")})
    case(family, "packed table", "note", {"grist.csv": None, "grist.csv.gz": gzip.compress(GRIST.encode())})
    case(family, "packed trace", "note", {"traces/l1.csv": None, "traces/l1.csv.gz": gzip.compress(L1.encode())})
    case(family, "cut pack", "problem", {"traces/l1.csv": None, "traces/l1.csv.gz": gzip.compress(L1.encode())[:-40]})
    case(family, "bytes of a picture", "problem", {"grist.csv": bytes(range(256)) * 20})
    case(family, "empty file", "problem", {"grist.csv": ""})
    case(family, "header alone", "note", {"grist.csv": GRIST.splitlines()[0] + "\n"})
    case(family, "blank file", "problem", {"readings.csv": "\n\n   \n"})
    case(family, "empty trace", "problem", {"traces/l1.csv": ""})
    case(family, "trace header alone", "problem", {"traces/l1.csv": L1.splitlines()[0] + "\n"})
    case(family, "zeros at the end of a trace", "problem", {"traces/l1.csv": L1.encode() + b"\0" * 60})
    case(
        family,
        "two bytes of another code page",
        "note",
        {"grist.csv": GRIST.encode().replace(b"wheat", b"wh\xff\xfet", 1)},
    )
    case(family, "line end in a quoted cell", "clean", {"brews.csv": BREWS.replace("slow, calm", "slow,\ncalm")})
    case(family, "doubled quotes", "clean", {"brews.csv": BREWS.replace("slow, calm", 'a ""good"" day')})
    case(family, "quote never closed", "note", {"brews.csv": BREWS.replace('"slow, calm"', '"slow')})
    case(
        family,
        "row with a cell too many",
        "problem",
        swap("grist.csv", "wheat malt,0.55,83.5,1.5,4.8", "wheat malt,0.55,83.5,1.5,4.8,x"),
    )
    case(family, "row with an empty cell too many", "note", swap("grist.csv", "83.5,1.5,4.8", "83.5,1.5,4.8,"))
    case(family, "short row", "note", swap("grist.csv", "l2,pale malt,5.25,81.0,1.4,4.3", "l2,pale malt,5.25"))
    case(family, "last line of a trace cut", "note", {"traces/l1.csv": L1.rstrip("\n")[:-12]})
    case(family, "long row in a trace", "problem", swap("traces/l1.csv", "\n200,", "\n200,9,9,"))
    case(family, "header again in a table", "note", {"grist.csv": GRIST + GRIST.splitlines()[0] + "\n"})
    case(family, "title above the header", "note", {"grist.csv": "My malts of 2024\n\n" + GRIST})
    case(family, "preamble of a logger", "note", {"traces/l1.csv": "Logger,7\nFirmware,2.1\nStart,x\n" + L1})
    case(
        family,
        "row of units",
        "note",
        {"grist.csv": GRIST.replace(" [kg]", "").replace("\n", "\n,,[kg],[%],[%],[%]\n", 1)},
    )
    case(family, "row of units in a trace", "note", {"traces/l1.csv": L1.replace("\n", "\n,degC,degC,degC,\n", 1)})


def header_family() -> None:
    family = "headers"
    case(family, "capitals", "clean", {"grist.csv": GRIST.replace("brew,malt,mass", "BREW,Malt,MASS")})
    case(
        family,
        "blanks and hyphens",
        "clean",
        {"brews.csv": BREWS.replace("mash_water", " Mash Water").replace("mill_gap", "mill-gap")},
    )
    case(family, "round brackets", "clean", {"grist.csv": GRIST.replace("[", "(").replace("]", ")")})
    case(family, "no unit", "clean", {"grist.csv": GRIST.replace(" [kg]", "").replace(" [%]", "")})
    for unit in ("lb", "lbs", "oz", "g", "pounds", "KG", "kilogram"):
        case(family, f"mass in {unit}", "clean", {"grist.csv": GRIST.replace("[kg]", f"[{unit}]")})
    for unit in ("gal", "imp gal", "US gal", "qt", "Liter", "litres"):
        # 22 gal are more than the kettle holds
        expect = "note" if "gal" in unit or unit == "qt" else "clean"
        case(family, f"water in {unit}", expect, {"brews.csv": BREWS.replace("mash_water [L]", f"mash_water [{unit}]")})
    case(
        family,
        "water in m3",
        "clean",
        {
            "brews.csv": BREWS.replace("mash_water [L]", "mash_water [m3]")
            .replace(",22,9", ",0.022,9")
            .replace(",22.5,9.5", ",0.0225,9.5")
            .replace(",19,8", ",0.019,8")
        },
    )
    case(family, "far too much water", "problem", swap("brews.csv", "mash_water [L]", "mash_water [m3]"))
    case(family, "temperatures in C", "clean", {"rests.csv": RESTS.replace("[degC]", "[C]")})
    case(
        family,
        "temperatures in degF",
        "clean",
        {
            "rests.csv": cells("rests.csv", 2, lambda k, c: f"{float(c) * 1.8 + 32:.1f}" if k else "temp [F]")[
                "rests.csv"
            ]
        },
    )
    case(family, "headroom in delta_degF", "clean", swap("rests.csv", "headroom [K]", "headroom [delta_degF]"))
    case(family, "headroom in degF", "clean", swap("rests.csv", "headroom [K]", "headroom [degF]"))
    case(family, "unit behind the name", "note", {"grist.csv": GRIST.replace("mass [kg]", "mass_kg")})
    case(family, "unknown unit", "problem", {"grist.csv": GRIST.replace("[kg]", "[stones of old]")})
    case(family, "unit of something else", "problem", {"grist.csv": GRIST.replace("mass [kg]", "mass [L]")})
    case(family, "unit as a bomb", "problem", {"grist.csv": GRIST.replace("[kg]", "[10**10**7 kg]")})
    case(
        family,
        "unit of ten thousand signs",
        "problem",
        {"grist.csv": GRIST.replace("[kg]", "[" + "kg*" * 3500 + "kg]")},
    )
    case(family, "unit of odd signs", "problem", {"grist.csv": GRIST.replace("[kg]", "[\u00b1\u221e]")})
    case(family, "empty brackets", "clean", {"grist.csv": GRIST.replace("[kg]", "[]")})
    case(family, "column twice", "problem", {"grist.csv": GRIST.replace("fine_coarse [%]", "mass [kg]")})
    case(family, "nameless column with values", "problem", {"grist.csv": GRIST.replace("fine_coarse [%]", "")})
    case(
        family,
        "own column",
        "note",
        {"brews.csv": cells("brews.csv", 17, lambda k, c: f"{c},{'yeast' if not k else 'x'}")["brews.csv"]},
    )
    case(family, "misspelt column", "note", {"grist.csv": GRIST.replace("moisture", "moistre")})
    case(family, "no column brew in the grist", "problem", {"grist.csv": GRIST.replace("brew,", "batch,")})
    case(family, "no column brew in the brews", "nothing", {"brews.csv": BREWS.replace("brew,", "batch,")})
    case(family, "no column date", "problem", {"brews.csv": BREWS.replace("date,", "day of it,")})
    case(family, "no header row", "problem", {"grist.csv": "\n".join(GRIST.splitlines()[1:]) + "\n"})
    case(family, "markup in a header", "note", {"brews.csv": BREWS.replace(",notes", ",<b>notes</b>")})
    case(
        family,
        "common words in a trace",
        "note",
        {"traces/l1.csv": L1.replace("mash_temp,base_temp,set_temp", "Bed temp,Kettle,Target")},
    )
    case(
        family,
        "unit behind a channel",
        "note",
        {"traces/l1.csv": L1.replace("mash_temp,base_temp", "mash_temp_C,base_temp_C")},
    )
    case(family, "unknown header in a trace", "note", {"traces/l1.csv": L1.replace("heater", "valve 3")})
    case(family, "no time in a trace", "problem", {"traces/l1.csv": L1.replace("elapsed [s]", "n")})
    case(
        family,
        "no channel in a trace",
        "problem",
        {"traces/l1.csv": L1.replace("mash_temp,base_temp,set_temp,heater", "a,b,c,d")},
    )
    case(family, "channel twice in a trace", "problem", {"traces/l1.csv": L1.replace("base_temp", "mash_temp")})
    case(
        family,
        "elapsed in minutes",
        "clean",
        {
            "traces/l1.csv": cells("traces/l1.csv", 0, lambda k, c: f"{float(c) / 60:.4f}" if k else "elapsed [min]")[
                "traces/l1.csv"
            ]
        },
    )
    case(family, "elapsed in nonsense", "problem", swap("traces/l1.csv", "[s]", "[kg]"))
    case(
        family,
        "channels.csv names an unknown channel",
        "problem",
        swap("channels.csv", "mash_temp,probe A", "mush_temp,probe A"),
    )
    case(
        family,
        "channels.csv of an unknown rig",
        "problem",
        swap("channels.csv", "kitchen,mash_temp", "kitchn,mash_temp"),
    )


def value_family() -> None:
    family = "values"
    for cell in ("", "-", "n/a", "NA", "nan", "None", "N/A", "--", "?"):
        case(family, f"missing as {cell!r}", "clean", swap("grist.csv", "83.5,1.5,4.8", f"83.5,{cell},4.8"))
    for cell, expect in (
        ("1045.5", "note"), ('"1,0455"', "note"), ('"1,045"', "note"), ("1.O455", "problem"), ("10.455", "problem"),
        ("-1.0455", "problem"), ("inf", "problem"), ("1e400", "problem"), ("1.0455 SG", "note"), ("=1+1", "problem"),
        ("1.0455.", "problem"), ("one", "problem"), ("1.4055", "problem"), ("0", "problem"), ("+1.0455", "clean"),
        (" 1.0455 ", "clean"), ("1_0455", "problem"), ("0x1", "problem"), ("\uff11.045", "clean"),
        ("#VALUE!", "problem"),
        ("1..0455", "problem"), ("1.0455e0", "clean"), ("'1.0455", "problem"),
    ):  # fmt: skip
        case(family, f"gravity {cell}", expect, swap("readings.csv", "1.0455", cell))
    for cell, expect in (
        ("5.20 kg", "note"), ("5200 g", "note"), ("5.20 L", "problem"), ('"5,20"', "note"), ("-5.20", "problem"),
        ("NaN", "note"), ("1e9", "problem"), ("5 1/2", "problem"), ("about 5", "problem"),
        ("5.20 kg of it", "problem"), ("9" * 400, "problem"), ("1" * 5000 + "x", "problem"), ("5.2.1", "problem"),
        ("\u22125.2", "problem"), ("5\u00a0200", "problem"),
    ):  # fmt: skip
        case(family, f"mass {cell[:20]}", expect, swap("grist.csv", "5.20", cell))
    case(
        family,
        "fractions for per cent",
        "note",
        {"grist.csv": cells("grist.csv", 3, lambda k, c: f"{float(c) / 100:.3f}" if k else c)["grist.csv"]},
    )
    case(family, "one fraction among per cent", "note", swap("grist.csv", "83.5", "0.835"))
    case(
        family,
        "moisture as fractions",
        "note",
        {"grist.csv": cells("grist.csv", 5, lambda k, c: f"{float(c) / 100:.3f}" if k else c)["grist.csv"]},
    )
    case(family, "per cent signs", "note", swap("grist.csv", "83.5", "83.5%"))
    case(family, "extract over 100", "problem", swap("grist.csv", "83.5", "183.5"))
    case(
        family,
        "rests plainly in degF",
        "problem",
        {"rests.csv": cells("rests.csv", 2, lambda k, c: f"{float(c) * 1.8 + 32:.0f}" if k else "temp")["rests.csv"]},
    )
    case(
        family,
        "trace plainly in degF",
        "problem",
        {
            "traces/l1.csv": cells("traces/l1.csv", 1, lambda k, c: f"{float(c) * 1.8 + 32:.1f}" if k else c)[
                "traces/l1.csv"
            ]
        },
    )
    case(
        family,
        "grain plainly in degF",
        "problem",
        {
            "brews.csv": BREWS.replace(",16,15,60", ",61,15,60")
            .replace(",17,14,60", ",63,14,60")
            .replace(",18,16,75", ",64,16,75")
            .replace("grain_temp [degC]", "grain_temp")
        },
    )
    case(
        family,
        "degF said to be degC",
        "problem",
        {"rests.csv": cells("rests.csv", 2, lambda k, c: f"{float(c) * 1.8 + 32:.0f}" if k else c)["rests.csv"]},
    )
    case(family, "one rest far too hot", "problem", swap("rests.csv", "l1,2,72", "l1,2,720"))
    case(family, "rest number of a half", "problem", swap("rests.csv", "l1,2,72", "l1,1.5,72"))
    case(family, "rest without temperature", "problem", swap("rests.csv", "l1,2,72", "l1,2,"))
    case(family, "rest number twice", "problem", swap("rests.csv", "l1,2,72", "l1,1,72"))
    case(family, "unknown word", "problem", swap("readings.csv", "l1,pre-boil,volume", "l1,before,volume"))
    case(family, "word in capitals", "clean", swap("readings.csv", "l1,pre-boil,volume", "l1,Pre Boil,Volume"))
    case(family, "misspelt stage", "problem", swap("readings.csv", "l1,fermenter,volume", "l1,fermentor,volume"))
    case(family, "unknown unit of a reading", "problem", swap("readings.csv", "11.2,degP", "11.2,furlongs"))
    case(family, "unit of a reading in other words", "clean", swap("readings.csv", "11.2,degP", "11.2,\u00b0Plato"))
    case(family, "plato without unit", "problem", swap("readings.csv", "11.2,degP", "11.2,"))
    case(family, "volume in gallons", "note", swap("readings.csv", "28.5,L", "7.5,gal"))
    case(family, "volume negative", "problem", swap("readings.csv", "28.5,L", "-28.5,L"))
    case(family, "sd negative", "problem", swap("readings.csv", "sight glass,0.3", "sight glass,-0.3"))
    case(family, "pH of 53", "problem", swap("readings.csv", "5.35", "53.5"))
    case(
        family,
        "reading without value",
        "problem",
        swap("readings.csv", "l1,fermenter,volume,23.2", "l1,fermenter,volume,"),
    )
    case(family, "heater power as words", "problem", swap("rigs.csv", "3200", "strong"))
    case(
        family,
        "water in hl",
        "clean",
        {
            "brews.csv": BREWS.replace("mash_water [L]", "mash_water [hl]")
            .replace(",22,9", ",0.22,9")
            .replace(",22.5,9.5", ",0.225,9.5")
            .replace(",19,8", ",0.19,8")
        },
    )
    case(family, "heater power with thousands and decimals", "note", swap("rigs.csv", "3200", '"3,200.5"'))
    case(family, "heater power with thousands", "note", swap("rigs.csv", "3200", '"3,200"'))
    case(
        family,
        "power in kW",
        "clean",
        {"rigs.csv": RIGS.replace("[W]", "[kW]").replace("3200", "3.2").replace("2200", "2.2")},
    )
    case(family, "unknown material", "problem", swap("rigs.csv", "aluminium", "tin"))
    case(family, "words in a trace", "problem", swap("traces/l1.csv", "\n200,", "\n200,err"))
    case(family, "huge cell in a table", "problem", {"brews.csv": BREWS.replace("new hose", "x" * 1_000_000)})
    case(family, "huge cell in a trace", "problem", {"traces/l1.csv": L1.replace("\n200,", "\n200," + "9" * 1_000_000)})
    case(family, "markup in cells", "clean", {"brews.csv": BREWS.replace("new hose", "<script>alert(1)</script>")})
    case(family, "formula in a text", "clean", {"brews.csv": BREWS.replace("new hose", "=cmd()")})


def date_family() -> None:
    family = "dates"
    for name, days, expect in (
        ("day.month.year", ("02.03.2024", "09.03.2024", "16.03.2024"), "note"),
        ("day/month/year", ("02/03/2024", "09/03/2024", "16/03/2024"), "note"),
        ("month/day/year", ("03/02/2024", "03/09/2024", "03/16/2024"), "note"),
        ("swappable", ("02/03/2024", "09/03/2024", "06/03/2024"), "problem"),
        ("the same both ways", ("03/03/2024", "04/04/2024", "05/05/2024"), "note"),
        ("year/month/day", ("2024/03/02", "2024/03/09", "2024/03/16"), "note"),
        ("with names of months", ("2 Mar 2024", "9 Mar 2024", "16 Mar 2024"), "note"),
        ("serials", ("45353", "45360", "45367"), "note"),
        ("basic ISO", ("20240302", "20240309", "20240316"), "clean"),
        ("ISO with time", ("2024-03-02T09:00", "2024-03-09 10:00:00", "2024-03-16"), "clean"),
        ("no such day", ("2024-02-30", "2024-03-09", "2024-03-16"), "problem"),
        ("no such month", ("2024-13-02", "2024-03-09", "2024-03-16"), "problem"),
        ("far past", ("0024-03-02", "2024-03-09", "2024-03-16"), "problem"),
        ("a word", ("spring", "2024-03-09", "2024-03-16"), "problem"),
        ("empty", ("", "2024-03-09", "2024-03-16"), "problem"),
        ("year alone", ("2024", "2024-03-09", "2024-03-16"), "problem"),
    ):
        text = BREWS
        for old, new in zip(("2024-03-02", "2024-03-09", "2024-03-16"), days, strict=True):
            text = text.replace(old, new)
        case(family, name, expect, {"brews.csv": text})


def clock_family() -> None:
    family = "clocks"

    def trace(name: str, expect: str, text: str, events: str | None = None) -> None:
        changes: dict[str, str | bytes | None] = {"traces/l2.csv": text}
        if events is not None:
            changes["events.csv"] = events
        case(family, name, expect, changes)

    no_l2 = "\n".join(line for line in EVENTS.splitlines() if not line.startswith("l2")) + "\n"
    trace("zulu", "note", clock_trace(zone="Z"))
    trace("offset", "clean", clock_trace(zone="+01:00"))
    trace("blank in place of T", "clean", clock_trace(form="%Y-%m-%d %H:%M:%S"))
    trace("fractions of seconds", "clean", clock_trace(form="%Y-%m-%dT%H:%M:%S.250"))
    trace("day.month.year", "note", clock_trace(form="%d.%m.%Y %H:%M:%S"))
    trace("day/month/year of the 13th", "note", clock_trace("2024-03-13T09:00:00", "%d/%m/%Y %H:%M:%S"), no_l2)
    trace("AM and PM", "note", clock_trace("2024-03-13T09:00:00", "%m/%d/%Y %I:%M:%S %p"), no_l2)
    trace("time of day", "note", clock_trace(form="%H:%M:%S"), no_l2)
    trace("time of day over midnight", "note", clock_trace("2024-03-09T23:00:00", "%H:%M:%S"), no_l2)
    trace("minutes only", "note", clock_trace(form="%Y-%m-%dT%H:%M"))

    def numbered(scale: float, form: str) -> str:
        day = mash_day()
        lines = [f"{format((1709974800 + t) * scale, form)},{b},{c},{d},{e}" for t, b, c, d, e in day]
        return "\n".join(["time,mash_temp,base_temp,set_temp,heater", *lines]) + "\n"

    trace("epoch seconds", "note", numbered(1, ".0f"))
    trace("epoch milliseconds", "note", numbered(1000, ".0f"))
    serial = [f"{45360.375 + t / 86400:.7f},{b},{c},{d},{e}" for t, b, c, d, e in mash_day()]
    trace("serials", "note", "\n".join(["time,mash_temp,base_temp,set_temp,heater", *serial]) + "\n")
    late = clock_trace("2024-03-09T23:00:00").replace("2024-03-10T00:00:00", "2024-03-09T24:00:00")
    trace("24:00", "clean", late, no_l2)
    mixed = clock_trace(zone="+01:00").splitlines()
    for k in range(200, len(mixed)):
        head, rest = mixed[k].split(",", 1)
        hour = int(head[11:13]) + 1
        mixed[k] = f"{head[:11]}{hour:02d}{head[13:19]}+02:00,{rest}"
    trace("mixed offsets", "clean", "\n".join(mixed) + "\n")
    partly = clock_trace(zone="+01:00").splitlines()
    partly[10] = partly[10].replace("+01:00", "")
    trace("one row without offset", "problem", "\n".join(partly) + "\n")
    autumn = clock_trace("2024-10-27T01:00:00").splitlines()
    for k in range(len(autumn)):
        if k and autumn[k][11:13] >= "03":
            autumn[k] = f"{autumn[k][:11]}{int(autumn[k][11:13]) - 1:02d}{autumn[k][13:]}"
    then = {"brews.csv": BREWS.replace("2024-03-09", "2024-10-27")}
    case(family, "end of summer time", "note", {"traces/l2.csv": "\n".join(autumn) + "\n", "events.csv": no_l2} | then)
    spring = clock_trace("2024-03-31T01:00:00").splitlines()
    for k in range(len(spring)):
        if k and spring[k][11:13] >= "02":
            spring[k] = f"{spring[k][:11]}{int(spring[k][11:13]) + 1:02d}{spring[k][13:]}"
    trace("start of summer time", "note", "\n".join(spring) + "\n", no_l2)
    words = clock_trace().splitlines()
    words[50] = words[50].replace("2024-03-09T09:16:20", "soon")
    trace("one time is a word", "problem", "\n".join(words) + "\n")
    trace("no time at all", "problem", clock_trace(form="then"), no_l2)
    far = clock_trace().splitlines()
    far[50] = far[50].replace("2024-", "2042-")
    trace("one row of another year", "problem", "\n".join(far) + "\n")
    case(family, "event time is a word", "problem", swap("events.csv", "2024-03-09T11:15:00", "noon"))
    case(family, "event on another day", "problem", swap("events.csv", "2024-03-09T11:15:00", "2024-05-09T11:15:00"))
    case(family, "event by time of day", "clean", swap("events.csv", "2024-03-09T11:15:00", "11:15"))
    case(family, "event without time", "problem", swap("events.csv", "l1,,4200", "l1,,"))
    case(family, "event of an unknown name", "problem", swap("events.csv", "mash-out", "tea"))
    case(
        family, "clock event beside elapsed times", "problem", swap("events.csv", "l1,,4200", "l1,2024-03-02T10:00:00,")
    )
    case(family, "event far behind the trace", "note", swap("events.csv", "l1,,8300", "l1,,9e6"))


def trace_family() -> None:
    family = "traces"

    def edit(name: str, expect: str, change) -> None:
        case(family, name, expect, rows("traces/l1.csv", change))

    def column(name: str, expect: str, place: int, change) -> None:
        case(family, name, expect, cells("traces/l1.csv", place, lambda k, c: change(k, c) if k else c))

    edit("row twice", "note", lambda r: [*r[:100], r[99], *r[100:]])
    edit("time twice", "problem", lambda r: [*r[:100], r[99].replace(",6", ",5", 1), *r[100:]])
    edit("two rows swapped", "note", lambda r: [*r[:100], r[101], r[100], *r[102:]])
    edit("backwards", "note", lambda r: [r[0], *r[:0:-1]])
    edit("halves swapped", "note", lambda r: [r[0], *r[200:], *r[1:200]])
    edit("whole day twice", "note", lambda r: [*r, *r[1:]])
    edit("header again inside", "note", lambda r: [*r[:200], r[0], *r[200:]])
    edit("gap of ten minutes", "note", lambda r: r[:100] + r[130:])
    edit("gap of two minutes", "clean", lambda r: r[:100] + r[105:])
    column("restart", "note", 0, lambda k, c: c if k < 250 else str(20 * (k - 250)))
    column("error code 85", "problem", 1, lambda k, c: "85.0" if 60 <= k < 63 else c)
    column("error code -127", "problem", 1, lambda k, c: "-127" if k == 60 else c)
    column("spike", "problem", 1, lambda k, c: "81.3" if k == 60 else c)
    column("two rows of a spike", "problem", 1, lambda k, c: "81.3" if k in (60, 61) else c)
    column("stuck", "problem", 1, lambda k, c: "65.31" if 150 <= k < 290 else c)
    column("probe out", "problem", 1, lambda k, c: "31.4" if 60 <= k < 80 else c)
    column("impossible", "problem", 2, lambda k, c: "640" if k == 60 else c)
    column("dropout of ten minutes", "note", 1, lambda k, c: "" if 60 <= k < 95 else c)

    def fallback(lead: float) -> str:
        """Base 2.5 K ahead of the target while the bed is seen, `lead` while its probe is silent."""
        rows = ["elapsed [s],mash_temp,base_temp,set_temp"]
        for k in range(400):
            silent = 150 <= k < 190
            bed = "" if silent else f"{65 + 0.05 * math.sin(k):.2f}"
            late = min(1.0, max(0.0, (k - 150) / 10))
            base = 65 + (2.5 + (lead - 2.5) * late if silent else 2.5) + 0.1 * math.sin(1.3 * k)
            rows.append(f"{10 * k},{bed},{base:.2f},65")
        return "\n".join(rows) + "\n"

    case(family, "controller followed the base in a dropout", "note", {"traces/l1.csv": fallback(0.1)})
    case(family, "controller held on through a dropout", "note", {"traces/l1.csv": fallback(2.5)})
    column("dropout of one row", "clean", 1, lambda k, c: "" if k == 60 else c)
    column("n/a in some rows", "clean", 1, lambda k, c: "n/a" if k in (60, 64) else c)
    column("err in some rows", "problem", 1, lambda k, c: "err" if 60 <= k < 70 else c)
    column("heater as on and off", "clean", 4, lambda k, c: "on" if c == "1" else "off")
    column("heater as per cent", "note", 4, lambda k, c: "100" if c == "1" else "0")
    column("heater of 7", "problem", 4, lambda k, c: "-7" if k == 60 else c)
    column("decimal commas quoted", "note", 1, lambda k, c: '"' + c.replace(".", ",") + '"')
    power = L1.replace("heater", "power")
    case(family, "power of nameplate as shares", "note", {"traces/l1.csv": power})
    watts = cells("traces/l1.csv", 4, lambda k, c: "power [W]" if not k else str(3200 * int(c)))["traces/l1.csv"]
    case(family, "power in watts", "clean", {"traces/l1.csv": watts})
    assert isinstance(watts, str)
    case(family, "watts without unit", "problem", {"traces/l1.csv": watts.replace("power [W]", "power")})
    case(
        family,
        "two files following on",
        "clean",
        {
            "traces/l1.csv": "\n".join(L1.splitlines()[:200]) + "\n",
            "traces/l1.2.csv": "\n".join([L1.splitlines()[0], *L1.splitlines()[200:]]) + "\n",
        },
    )
    case(
        family,
        "second file of another logger",
        "note",
        {
            "traces/l1.2.csv": "elapsed [s],ambient_temp\n"
            + "".join(f"{60 * k + 7},{15 + 0.01 * k:.2f}\n" for k in range(130))
        },
    )
    case(family, "second file of other times", "problem", {"traces/l1.2.csv": L2})
    case(family, "second file begins anew", "note", {"traces/l1.2.csv": elapsed_trace()})
    ahead = clock_trace("2024-03-09T09:03:20")
    case(family, "second clock ahead", "note", {"traces/l2.2.csv": ahead})
    case(family, "no trace of a brew", "note", {"traces/l1.csv": None})
    case(family, "trace of nobody", "problem", {"traces/l9.csv": L1})
    case(family, "trace in capitals", "note", {"traces/l1.csv": None, "traces/L1.CSV": L1})
    case(family, "trace plain and packed", "problem", {"traces/l1.csv.gz": gzip.compress(L1.encode())})
    case(
        family,
        "label clash",
        "problem",
        {"brews.csv": BREWS + "l1.2,2024-03-23,shed" + "," * 16 + "\n", "traces/l1.2.csv": L1},
    )
    case(family, "picture among the traces", "note", {"traces/day.png": b"\x89PNG"})


def relation_family() -> None:
    family = "relations"
    for file, old, new in (
        ("grist.csv", "l2,pale", "l22,pale"), ("readings.csv", "l2,pre-boil,volume", "l22,pre-boil,volume"),
        ("rests.csv", "l2,1", "l4,1"), ("events.csv", "l1,,4200", "x1,,4200"),
        ("additions.csv", "l3,water", "13,water"),
    ):  # fmt: skip
        case(family, f"unknown brew in {file}", "problem", swap(file, old, new))
    case(family, "brew in capitals", "note", swap("grist.csv", "l2,pale", "L2,pale"))
    case(family, "blanks around a label", "clean", swap("grist.csv", "l2,pale", " l2 ,pale"))
    case(family, "unknown rig", "problem", swap("brews.csv", "l2,2024-03-09,shed", "l2,2024-03-09,shad"))
    case(family, "rig in capitals", "note", swap("brews.csv", "l2,2024-03-09,shed", "l2,2024-03-09,Shed"))
    case(family, "no rig though there are two", "note", swap("brews.csv", "l2,2024-03-09,shed", "l2,2024-03-09,"))
    case(family, "brew twice", "problem", swap("brews.csv", "\nl3,", "\nl1,"))
    case(family, "rig twice", "problem", swap("rigs.csv", "\nkitchen", "\nshed"))
    case(family, "test named like a brew", "problem", swap("water_tests.csv", "w1", "l1"))
    case(family, "brew without label", "problem", swap("brews.csv", "\nl3,", "\n,"))
    case(family, "brew without grist", "note", {"grist.csv": GRIST.replace("l3,pale malt,4.60,81.5,1.3,4.1\n", "")})
    case(
        family,
        "brew without readings",
        "note",
        {"readings.csv": "\n".join(x for x in READINGS.splitlines() if "l3" not in x)},
    )
    case(family, "no grist file", "clean", {"grist.csv": None})
    case(family, "brews alone", "clean", {file: None for file in GOOD if file != "brews.csv"})
    case(family, "no brews file", "nothing", {"brews.csv": None})
    case(family, "misnamed file", "problem", {"grist.csv": None, "grists.csv": GRIST})
    case(family, "file name in capitals", "note", {"grist.csv": None, "Grist.CSV": GRIST})
    case(family, "foreign file", "clean", {"holiday.txt": "x", ".hidden.csv": "x", "~lock.csv": "x"})
    case(family, "brews file empty", "nothing", {"brews.csv": ""})
    case(family, "brews file a picture", "nothing", {"brews.csv": bytes(range(256)) * 9})
    case(
        family,
        "label that leaves the folder",
        "problem",
        {"brews.csv": BREWS + "../../l1,2024-03-23,shed" + "," * 16 + "\n"},
    )
    case(
        family,
        "label that is a path",
        "problem",
        {"brews.csv": BREWS + "/etc/passwd,2024-03-23,shed" + "," * 16 + "\n"},
    )
    case(
        family,
        "label of a thousand signs",
        "problem",
        {"brews.csv": BREWS + "x" * 1000 + ",2024-03-23,shed" + "," * 16 + "\n"},
    )
    case(
        family,
        "three thousand columns",
        "problem",
        {
            "grist.csv": "brew,malt,mass [kg]"
            + "".join(f",c{k}" for k in range(3000))
            + "\nl1,pale malt,5\nl2,pale malt,5\nl3,pale malt,5\n"
        },
    )


def other_family() -> None:
    family = "others"

    def numbered(form: Callable[[float], str], header: str) -> str:
        lines = [f"{form(t)},{bed},{base},{goal},{on}" for t, bed, base, goal, on in mash_day()]
        return "\n".join([f"{header},mash_temp,base_temp,set_temp,heater", *lines]) + "\n"

    no_l2 = "\n".join(line for line in EVENTS.splitlines() if not line.startswith("l2")) + "\n"
    case(family, "time as seconds", "note", {"traces/l1.csv": numbered(lambda t: f"{t:.0f}", "time")})
    case(family, "time [s]", "note", {"traces/l1.csv": numbered(lambda t: f"{t:.0f}", "time [s]")})
    case(family, "time (min)", "note", {"traces/l1.csv": numbered(lambda t: f"{t / 60:.3f}", "Time (min)")})
    case(family, "minutes", "note", {"traces/l1.csv": numbered(lambda t: f"{t / 60:.3f}", "minutes")})
    case(
        family,
        "elapsed hms",
        "note",
        {
            "traces/l1.csv": numbered(
                lambda t: f"{int(t) // 3600:02d}:{int(t) // 60 % 60:02d}:{int(t) % 60:02d}", "elapsed"
            )
        },
    )
    case(
        family,
        "elapsed mm:ss",
        "note",
        {"traces/l1.csv": numbered(lambda t: f"{int(t) // 60:02d}:{int(t) % 60:02d}", "elapsed")},
    )
    case(family, "UTC suffix", "note", {"traces/l2.csv": clock_trace(form="%Y-%m-%d %H:%M:%S UTC")})
    case(family, "+0100", "clean", {"traces/l2.csv": clock_trace(zone="+0100")})
    case(family, ".000Z", "note", {"traces/l2.csv": clock_trace(zone=".000Z")})
    case(
        family,
        "comma ms quoted",
        "clean",
        {
            "traces/l2.csv": "\n".join(
                ('"' + row.replace(",", ',250",', 1)) if k else row for k, row in enumerate(L2.splitlines())
            )
        },
    )
    case(
        family,
        "date and time columns",
        "note",
        {
            "traces/l2.csv": "\n".join(
                (row.replace("T", ",", 1)) if k else row.replace("time", "date,time")
                for k, row in enumerate(L2.splitlines())
            ),
            "events.csv": no_l2,
        },
    )
    case(family, "degC in cells", "note", cells("traces/l1.csv", 1, lambda k, c: c + " °C" if k else c))
    case(family, "C in cells", "note", cells("traces/l1.csv", 1, lambda k, c: c + "C" if k else c))
    case(
        family,
        "F in cells",
        "note",
        cells("traces/l1.csv", 1, lambda k, c: f"{float(c) * 1.8 + 32:.1f} °F" if k else c),
    )
    case(family, "% in power cells", "note", cells("traces/w1.csv", 2, lambda k, c: c + "%" if k else c))
    case(family, "dup grist row", "note", {"grist.csv": GRIST + GRIST.splitlines()[1] + "\n"})
    case(family, "dup event row", "note", {"events.csv": EVENTS + EVENTS.splitlines()[1] + "\n"})
    case(family, "dup reading", "clean", {"readings.csv": READINGS + READINGS.splitlines()[1] + "\n"})
    case(family, "dup rest row", "problem", {"rests.csv": GOOD["rests.csv"] + GOOD["rests.csv"].splitlines()[1] + "\n"})
    case(
        family,
        "dup addition",
        "note",
        {"additions.csv": GOOD["additions.csv"] + GOOD["additions.csv"].splitlines()[1] + "\n"},
    )
    nfd = unicodedata.normalize("NFD", "Märzen")
    nfc = "Märzen"
    case(
        family,
        "nfd file",
        "clean",
        {
            "brews.csv": BREWS.replace("l1,", nfc + ","),
            "traces/l1.csv": None,
            f"traces/{nfd}.csv": L1,
            **{
                f: GOOD[f].replace("\nl1,", "\n" + nfc + ",")
                for f in ("grist.csv", "rests.csv", "readings.csv", "events.csv", "additions.csv")
            },
        },
    )
    case(
        family,
        "nfd label",
        "clean",
        {
            "brews.csv": BREWS.replace("l1,", nfc + ","),
            "traces/l1.csv": None,
            f"traces/{nfc}.csv": L1,
            **{
                f: GOOD[f].replace("\nl1,", "\n" + nfd + ",")
                for f in ("grist.csv", "rests.csv", "readings.csv", "events.csv", "additions.csv")
            },
        },
    )
    case(family, "pair maybe", "problem", swap("brews.csv", "1 tight", "maybe"))
    case(family, "pair 1tight", "clean", swap("brews.csv", "1 tight", "1tight"))
    case(family, "pair Tight", "clean", swap("brews.csv", "1 tight", "1 Tight"))
    case(family, "addition w/o amount", "problem", swap("additions.csv", "sugar,0.25", "sugar,"))
    case(family, "malt unnamed", "note", swap("grist.csv", "l2,pale malt", "l2,"))
    case(family, "mash water 0", "problem", swap("brews.csv", "mash,22,", "mash,0,"))
    case(family, "traces is a file", "problem", {f: None for f in GOOD if f.startswith("traces")} | {"traces": "x"})
    case(
        family,
        "pandas index",
        "note",
        {"traces/l1.csv": "\n".join((f"{k - 1}," if k else ",") + row for k, row in enumerate(L1.splitlines()))},
    )
    case(family, "density", "clean", swap("readings.csv", "1.0455,SG", "1.0437,g/cm3"))
    case(family, "density kg/m3", "clean", swap("readings.csv", "1.0455,SG", "1043.7,kg/m3"))
    case(family, "Brix", "clean", swap("readings.csv", "11.2,degP", "11.2,Bx"))
    case(family, "1.044 as degP", "problem", swap("readings.csv", "11.2,degP", "1.045,degP"))
    case(family, "SG of 12", "problem", swap("readings.csv", "1.0455,SG", "12,SG"))
    case(family, "reading temp 98 F", "problem", swap("readings.csv", "28.5,L,97", "28.5,L,207"))
    case(
        family,
        "readings temp F header",
        "clean",
        {
            "readings.csv": READINGS.replace("temp [degC]", "temp [F]")
            .replace(",21,", ",70,")
            .replace(",97,", ",206,")
            .replace(",20,", ",68,")
            .replace(",96,", ",205,")
            .replace(",95,", ",203,")
            .replace(",22,", ",72,")
        },
    )
    case(family, "value SG header", "clean", {"readings.csv": READINGS.replace("value", "value [SG]")})
    case(
        family,
        "channels degF",
        "clean",
        {
            "channels.csv": GOOD["channels.csv"].replace("probe A,degC", "probe A,degF"),
            "traces/l3.csv": cells("traces/l1.csv", 1, lambda k, c: f"{float(c) * 1.8 + 32:.2f}" if k else c)[
                "traces/l1.csv"
            ].replace("elapsed [s],mash_temp,base_temp,set_temp,heater", "secs run,probe A,probe B,set_temp,heater"),
        },
    )
    case(
        family, "cells degC but header degF", "problem", {"traces/l1.csv": L1.replace("mash_temp", "mash_temp [degF]")}
    )
    case(family, "rests header degF cells C", "problem", swap("rests.csv", "temp [degC]", "temp [degF]"))
    case(
        family,
        "flat trace",
        "clean",
        {"traces/l1.csv": "elapsed,mash_temp\n" + "".join(f"{k * 60},65.0\n" for k in range(100))},
    )
    case(family, "trace 3 rows", "note", {"traces/l1.csv": "elapsed,mash_temp\n0,65\n60,65.2\n120,65.1\n"})
    case(family, "trace 1 row", "note", {"traces/l1.csv": "elapsed,mash_temp\n0,65\n"})
    case(
        family,
        "sparse 6 min",
        "note",
        {"traces/l1.csv": "elapsed,mash_temp\n" + "".join(f"{k * 360},65.{k % 3}\n" for k in range(30))},
    )
    case(
        family,
        "resolution 1 hold",
        "clean",
        {
            "traces/l1.csv": "elapsed,mash_temp,base_temp\n"
            + "".join(f"{k * 20},65,{66 + (k // 30) % 6}\n" for k in range(400))
        },
    )
    case(
        family,
        "room probe before mash in",
        "clean",
        {
            "traces/l1.csv": "elapsed,mash_temp,base_temp\n"
            + "".join(
                f"{k * 20},{19.5 if k < 150 else 65 + 0.1 * (k % 4)},{min(70, 20 + k * 0.35):.2f}\n" for k in range(500)
            )
        },
    )
    falls = [(72 + 0.02 * (k % 5), 73.0) for k in range(100)]
    falls += [(64.9 + 0.05 * (k % 4), max(66, 73 - k * 0.4)) for k in range(400)]
    lines = "".join(f"{10 * k},{bed:.2f},{base:.2f}\n" for k, (bed, base) in enumerate(falls))
    case(family, "mash in drop", "clean", {"traces/l1.csv": "elapsed,mash_temp,base_temp\n" + lines})
    case(
        family,
        "negative elapsed start",
        "clean",
        {"traces/l1.csv": numbered(lambda t: f"{t - 600:.0f}", "elapsed [s]")},
    )
    case(family, "comment lines", "note", {"grist.csv": "# my grist\n" + GRIST})
    case(family, "nul in cell", "problem", {"grist.csv": GRIST.replace("wheat", "wh\0eat")})
    case(family, "ansi escape", "clean", {"brews.csv": BREWS.replace("new hose", "\x1b[31mred")})
    case(family, "missing rest 1", "clean", swap("rests.csv", "l1,1,65,60,8,100,saccharification\n", ""))
    case(family, "heater_follows other", "problem", swap("brews.csv", "Quarry,mash", "Quarry,lid"))
    case(family, "SG comma german", "note", {"readings.csv": german(READINGS)})
    case(family, "ragged german", "problem", {"grist.csv": GRIST.replace("5.20", "5,20")})
    case(family, "minus water", "problem", swap("brews.csv", "mash,22,9", "mash,-22,9"))
    case(family, "label 12.0", "problem", swap("grist.csv", "l2,pale", "l2.0,pale"))
    case(family, "grist xlsx", "problem", {"grist.csv": None, "grist.xlsx": b"PK\x03\x04"})


for fill in (
    text_family,
    header_family,
    value_family,
    date_family,
    clock_family,
    trace_family,
    relation_family,
    other_family,
):
    fill()
