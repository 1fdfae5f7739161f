"""Step 8: a ServiceRecord as text for a terminal, and as one printable page (A4, HTML).

Both show the same Sheet: first what is out of band, then what was not sure, then the rest, and
what the note did not say. Nothing is worked out here that the record does not hold.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from importlib.resources import files
from itertools import groupby
from typing import Any

from talklog.record import BandRef, FollowUp, Part, Reading, ServiceRecord
from talklog.units import weighed
from talklog.verdicts.names import described

NOT_SAID = "not said"
NOT_KNOWN = "not said, or not understood"  # for what talklog does not look for in a note
WIDTH = 88
GAUGE_INSIDE = (25, 75)  # per cent of the drawn scale that the band takes

VERDICTS = {
    "in_band": "in band",
    "low": "LOW",
    "high": "HIGH",
    "no_band": "no band",
    "unsure": "UNSURE",
    "unit_mismatch": "UNIT?",
}
PRESUMED = "?"  # behind what was not said plainly
_ABOUT_MARKS = "? behind a word: not said plainly, taken as the most probable."
_ROLES = {"measured": "measured", "set": "set", "as_found": "as found", "as_left": "as left"}
_SET_ASIDE = {
    "quoted_spec": "a quoted limit",
    "other_opinion": "somebody's opinion",
    "tool_size": "size of a tool",
    "part_size": "size of a part",
    "superseded": "corrected afterwards",
    "intention": "meant for later",
    "hypothetical": "an if",
    "time_or_date": "a time or date",
    "count": "a count",
}
# How units are printed. SI Brochure (8th edition) 5.3.3: a space before every symbol, also before
# the one for degrees Celsius and per cent; none before the angle sign.
_SYMBOLS = {
    "degC": "°C",
    "degF": "°F",
    "deg": "°",
    "percent": "%",
    "um": "µm",
    "ohm": "Ω",
    "mohm": "mΩ",
    "kohm": "kΩ",
    "Mohm": "MΩ",
    "kgf/cm2": "kgf/cm²",
    "mm2/s": "mm²/s",
    "in3": "in³",
    "kelvin": "K",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One reading, ready to print. ``about`` is ``what`` without the marks of what was presumed,
    which come and go while one is still talking; ``gauge`` is where it lies on a scale of 0 to 100
    on which the band takes GAUGE_INSIDE; ``None`` where that cannot be drawn."""

    what: str
    about: str
    value: str
    si: str
    band: str
    verdict: str
    out: bool
    role: str
    when: str
    reason: str
    gauge: int | None


@dataclass(frozen=True, slots=True)
class Item:
    """A heading word, a sentence and the time it was said; any of them may be empty."""

    lead: str
    text: str
    when: str = ""
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything both forms print, in their order."""

    title: str
    head: tuple[tuple[str, str], ...]
    first: tuple[Item, ...]
    unsure: tuple[Item, ...]
    readings: tuple[Line, ...]
    presumed: str  # what the mark behind a name means; empty if there is none
    work: tuple[Item, ...]
    parts: tuple[Item, ...]
    findings: tuple[Item, ...]
    follow_ups: tuple[Item, ...]
    set_aside: tuple[Item, ...]
    cautions: tuple[Item, ...]
    source: str


def text_report(record: ServiceRecord, *, name: str | None = None) -> str:
    """The record for a terminal, 88 columns, no colour. ``name`` is that of the source file."""
    sheet = make_sheet(record, name=name)
    rows = [_two_columns(label, value) for label, value in sheet.head]
    blocks = [
        "\n".join([sheet.title.upper(), "=" * min(WIDTH, len(sheet.title)), *rows]),
        _block("OUT OF BAND, OR MISSING", sheet.first, "Nothing."),
        _block("NOT SURE: PLEASE CHECK", sheet.unsure, "Nothing."),
        _section("READINGS", _readings_text(sheet), NOT_SAID),
        _block("WORK", sheet.work, NOT_SAID),
        _block("PARTS", sheet.parts, NOT_SAID),
        _block("FOUND", sheet.findings, NOT_SAID),
        _block("STILL TO DO", sheet.follow_ups, NOT_SAID),
        _block("NUMBERS SET ASIDE", sheet.set_aside, ""),
        _block("CAUTIONS", sheet.cautions, ""),
        _section("SOURCE", [_wrapped(sheet.source)], ""),
    ]
    return "\n\n".join(block for block in blocks if block) + "\n"


def html_report(record: ServiceRecord, *, name: str | None = None) -> str:
    """The record as one HTML page for paper (A4). It needs no other file and runs no script."""
    return _template().render(sheet=make_sheet(record, name=name), inside=GAUGE_INSIDE)


@lru_cache(maxsize=1)
def _template() -> Any:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    page = (files("talklog") / "data" / "record.html.j2").read_text("utf-8")
    return environment.from_string(page)


# ---- what is shown -------------------------------------------------------------------------------


def make_sheet(record: ServiceRecord, *, name: str | None = None) -> Sheet:
    """The record in words, sorted by how urgently somebody must look."""
    title = record.machine.name if record.machine else "Machine not said"
    timed = _timed(record)
    return Sheet(
        title=f"Service record: {title}",
        head=tuple(_head(record)),
        first=tuple(_flag_item(flag, record) for flag in _first_flags(record)),
        unsure=tuple(_questions(record)),
        readings=tuple(_line(reading) for reading in record.readings),
        presumed=_ABOUT_MARKS if any(r.presumed for r in record.readings) else "",
        work=tuple(
            Item("" if a.done else "not done", _action(a), timed(a)) for a in record.actions
        ),
        parts=tuple(Item(p.status.replace("_", " "), _part(p), timed(p)) for p in record.parts),
        findings=tuple(Item(f.component, f.condition, timed(f)) for f in record.findings),
        follow_ups=tuple(Item(_due(f), f.what, timed(f)) for f in record.follow_ups),
        set_aside=tuple(Item(_SET_ASIDE[s.why], s.heard, timed(s)) for s in record.set_aside),
        cautions=tuple(
            Item("said" if caution.origin == "speaker" else "", caution.text)
            for caution in record.cautions
        ),
        source=_source(record, name),
    )


def _head(record: ServiceRecord) -> Iterable[tuple[str, str]]:
    """The fields that public rules on maintenance records ask for (14 CFR 43.9(a), 49 CFR
    396.3(b), NZ CAR 43.69(a), read in reprints). What the note did not give is shown as such."""
    machine, meter = record.machine, record.meter
    sources = dict.fromkeys(reading.band.source for reading in record.readings if reading.band)
    yield "Machine", f"{machine.name} ({machine.key})" if machine else NOT_SAID
    yield "Meter", quantity(meter.value, meter.unit) if meter else NOT_SAID
    yield "Record made", record.made_at.replace("T", " ")
    yield "Work finished on", NOT_KNOWN
    yield "Reason for the work", NOT_KNOWN
    yield "Done by", NOT_KNOWN
    yield "Limits taken from", "; ".join(sources) or NOT_SAID


def _first_flags(record: ServiceRecord) -> Iterable[Any]:
    """Flags that are not about an unsure reading; those come second."""
    unsure = [reading.reason for reading in record.readings if reading.verdict == "unsure"]
    return (f for f in record.flags if not any(reason.endswith(f.text) for reason in unsure))


def _flag_item(flag: Any, record: ServiceRecord) -> Item:
    reading = next((r for r in record.readings if _is_about(flag, r)), None)
    if reading is None:
        return Item(flag.level.upper(), flag.about, "", flag.text)
    return Item(flag.level.upper(), named(reading), _when(reading.start), flag.text)


def _is_about(flag: Any, reading: Reading) -> bool:
    return flag.about == described(reading) and flag.text.startswith(
        (f"{reading.value} ", reading.reason)
    )


def named(reading: Reading) -> str:
    """What a reading is of, with a mark behind what was not said plainly: "pad?, rear: gap"."""
    mark = dict.fromkeys(reading.presumed, PRESUMED)
    place = reading.position or ("place" if "position" in mark else "")
    thing = f"{reading.component}{mark.get('component', '')}"
    parts = (thing, f"{place}{mark.get('position', '')}", reading.condition)
    return f"{', '.join(filter(None, parts))}: {reading.quantity}{mark.get('quantity', '')}"


def _role(reading: Reading) -> str:
    return f"{_ROLES[reading.role]}{PRESUMED if 'role' in reading.presumed else ''}"


def _line(reading: Reading) -> Line:
    si = reading.si
    return Line(
        what=named(reading),
        about=described(reading),
        value=quantity(reading.value, reading.unit),
        si=_rounded(si.value, si.unit) if si and si.unit != reading.unit else "",
        band=limits(reading.band) if reading.band else "",
        verdict=VERDICTS[reading.verdict],
        out=reading.verdict in ("low", "high", "unit_mismatch", "unsure"),
        role=_role(reading),
        when=_when(reading.start),
        reason=reading.reason,
        gauge=_gauge(reading),
    )


def quantity(value: str, unit: str | None) -> str:
    """A value with its unit as printed: "30.2 °C", "15°", "110 N·m", "12 (no unit said)"."""
    if unit is None:
        return f"{value} (no unit said)"
    symbol = _SYMBOLS.get(unit, unit.replace(".", "·"))
    return f"{value}{symbol}" if symbol == "°" else f"{value} {symbol}"


def _rounded(value: str, unit: str) -> str:
    """The SI value for reading, five digits at most: "= 0.3048 mm", "≈ 88.128 N·m"."""
    short = f"{Decimal(f'{Decimal(value):.5g}'):f}"
    sign = "=" if Decimal(short) == Decimal(value) else "≈"
    return f"{sign} {quantity(short, unit)}"


def limits(band: BandRef) -> str:
    """The limits as printed: "0.20 to 0.30 mm", "at least 1.6 mm", "below 12.5 cSt"."""
    unit = band.unit
    high = quantity(band.high, unit) if band.high and unit else band.high
    if band.low is None:
        return f"{'below' if band.high_open else 'at most'} {high}"
    if high is None:
        return f"at least {quantity(band.low, unit) if unit else band.low}"
    return f"{band.low} to {'below ' if band.high_open else ''}{high}"


def _gauge(reading: Reading) -> int | None:
    """Place on the drawn scale, kept within it. Only two-sided bands have one."""
    band, unit = reading.band, reading.unit
    drawable = reading.verdict in ("in_band", "low", "high") and band and band.low and band.high
    if not drawable:
        return None
    low, high = Decimal(band.low), Decimal(band.high)
    if low == high:
        return None
    value = Decimal(reading.value)
    value = weighed(value, unit, band.unit) if unit and band.unit else value
    start, end = GAUGE_INSIDE
    return int(min(max(start + (value - low) / (high - low) * (end - start), 1), 99))


def _action(action: Any) -> str:
    place = f", {action.position}" if action.position else ""
    return f"{action.verb} {action.component}{place}"


def _part(part: Part) -> str:
    return part.name if part.quantity is None else f"{part.quantity} × {part.name}"


def _due(follow_up: FollowUp) -> str:
    due = follow_up.due.model_dump() if follow_up.due else {}
    if "distance" in due:
        return f"in {quantity(due['distance'], due['unit'])}"
    if "hours" in due:
        return f"in {due['hours']} h"
    if "duration" in due:
        return f"in {_spelled(due['duration'])}"
    return due.get("event") or (f"on {due['date']}" if "date" in due else "")


def _spelled(duration: str) -> str:
    """An ISO 8601 duration in words: P1Y6M is "1 year 6 months", PT30M is "30 minutes"."""
    days, _, clock = duration[1:].partition("T")
    names = {"Y": "years", "M": "months", "W": "weeks", "D": "days"}
    timed = {"H": "hours", "M": "minutes", "S": "seconds"}
    parts = [f"{n} {names[letter]}" for n, letter in re.findall(r"(\d+)(\w)", days)]
    parts += [f"{n} {timed[letter]}" for n, letter in re.findall(r"(\d+)(\w)", clock)]
    return " ".join(re.sub(r"^(1 .*)s$", r"\1", part) for part in parts)


def _questions(record: ServiceRecord) -> Iterator[Item]:
    """What was not sure, and what it was taken for, so that who answers looks at that too; what
    follows one upon the other for one reason is one question."""
    timed = _timed(record)
    taken = {reading.words: f" ({named(reading)})" for reading in record.readings}
    for why, items in groupby(record.unsure, key=lambda item: item.why):
        asked = list(items)
        times = dict.fromkeys(filter(None, map(timed, asked)))
        told = (f"“{item.heard}”{taken.get(item.words, '')}" for item in asked)
        yield Item("", ", ".join(told), ", ".join(times), why)


def _timed(record: ServiceRecord) -> Callable[[Any], str]:
    return lambda item: _when(record.words[item.words[0]].start)


def _when(seconds: float | None) -> str:
    """Minutes and seconds into the recording: "1:07"."""
    return "" if seconds is None else f"{int(seconds) // 60}:{int(seconds) % 60:02}"


def _source(record: ServiceRecord, name: str | None) -> str:
    source = record.source
    parts = [f"{'Recording' if source.kind == 'audio' else 'Typed text'} {name or ''}".strip()]
    if source.seconds is not None:
        parts.append(f"{_when(source.seconds)} long")
    parts += [f"heard with {source.engine}, model {source.model}"] if source.engine else []
    return f"{', '.join(parts)}. SHA-256 {source.sha256}. Record {record.id}."


# ---- as text -------------------------------------------------------------------------------------


def _section(title: str, blocks: Iterable[str], none: str) -> str:
    body = "\n".join(blocks) or (f"  {none}" if none else "")
    return f"{title}\n{body}" if body else ""


def _block(title: str, items: Iterable[Item], none: str) -> str:
    return _section(title, map(_item_text, items), none)


def _item_text(item: Item) -> str:
    lead = f"{item.lead}: " if item.lead else ""
    when = f"  [{item.when}]" if item.when else ""
    first = _wrapped(f"{lead}{item.text}{when}")
    return f"{first}\n{_wrapped(item.detail, indent=6)}" if item.detail else first


def _readings_text(sheet: Sheet) -> Iterator[str]:
    yield from map(_reading_text, sheet.readings)
    if sheet.presumed:
        yield _wrapped(sheet.presumed)


def _reading_text(line: Line) -> str:
    mark = ">" if line.out else " "
    value = f"{line.value} {line.si}" if line.si else line.value
    when = f"  [{line.when}]" if line.when else ""
    band = f"  (band {line.band})" if line.band else ""
    first = f"{mark} {line.verdict:8}{line.what}"
    return f"{first}\n{' ' * 10}{value} {line.role}{band}{when}"


def _two_columns(label: str, value: str) -> str:
    return textwrap.fill(
        value, WIDTH, initial_indent=f"{label:20}", subsequent_indent=" " * 20, **_KEEP
    )


def _wrapped(text: str, *, indent: int = 2) -> str:
    pad = " " * indent
    return textwrap.fill(text, WIDTH, initial_indent=pad, subsequent_indent=pad + "  ", **_KEEP)


_KEEP: dict[str, Any] = {"break_long_words": False, "break_on_hyphens": False}
