"""A record laid out as rows, for lists and questions. All of it can be made again."""

from __future__ import annotations

from typing import Any

from talklog.days import after, day_of, of_event, utc_of
from talklog.logbook.works import work_of_text, work_of_verb
from talklog.record import FollowUp, Reading, ServiceRecord
from talklog.trades import dictionary_name

Row = tuple[Any, ...]
# Metres in what odometers count; the mile is the international one (NIST SP 811, appendix B.8).
_METRES = {"m": 1.0, "km": 1000.0, "mi": 1609.344, "ft": 0.3048}
_HOURS = {"h": 1.0}


def counts(record: ServiceRecord) -> dict[str, int]:
    """How much there is to look at."""
    levels = [flag.level for flag in record.flags]
    asked = sum(reading.verdict == "unsure" for reading in record.readings)
    return {
        "readings": len(record.readings),
        "stops": levels.count("stop"),
        "looks": levels.count("look"),
        "unsure": len(record.unsure) + asked,
    }


def reading_rows(record: ServiceRecord) -> list[Row]:
    """(number, component, quantity, position, condition, value, unit, si value, si unit, role,
    verdict, band low, high, unit, source) of each reading."""
    return [(number, *_reading(item)) for number, item in enumerate(record.readings)]


def _reading(item: Reading) -> Row:
    si, band = item.si, item.band
    limits = (band.low, band.high, band.unit, band.source) if band else (None,) * 4
    return (
        item.component, item.quantity, item.position, item.condition, item.value, item.unit,
        float(si.value) if si else None, si.unit if si else None, item.role, item.verdict, *limits,
    )  # fmt: skip


def part_rows(record: ServiceRecord) -> list[Row]:
    """(number, name, quantity, status)."""
    return [(n, item.name, item.quantity, item.status) for n, item in enumerate(record.parts)]


def action_rows(record: ServiceRecord, said_at: str) -> list[Row]:
    """(number, verb, work, component, position, done, moment)."""
    moment = utc_of(said_at)
    return [
        (n, a.verb, work_of_verb(a.verb), _known(a.component), a.position, int(a.done), moment)
        for n, a in enumerate(record.actions)
    ]


def follow_up_rows(record: ServiceRecord, said_at: str) -> list[Row]:
    """(number, place, what, component, work, kind of due, due as text, day, meter, its unit,
    moment). ``place`` names it by its words, which stay the same from revision to revision."""
    moment = utc_of(said_at)
    return [
        (number, place_of(item), item.what, _known(item.component), work_of_text(item.what),
         *due_columns(item, record, said_at), moment)
        for number, item in enumerate(record.follow_ups)
    ]  # fmt: skip


def _known(component: str | None) -> str | None:
    """The vocabulary's name of a thing: what is to do to the "pad" of one note is done when another
    says "brake pad"."""
    return dictionary_name(component) if component is not None else None


def place_of(item: FollowUp) -> str:
    """ "12-17": the words of a thing to do."""
    return f"{item.words[0]}-{item.words[1]}"


def due_columns(item: FollowUp, record: ServiceRecord, said_at: str) -> Row:
    """(kind, text, day, meter, unit of the meter) of when something is due."""
    due = item.due.model_dump() if item.due else {}
    day = day_of(said_at)
    if "date" in due:
        return "date", due["date"], due["date"], None, None
    if "duration" in due:
        on = after(day, due["duration"])
        return "duration", due["duration"], on.isoformat() if on else None, None, None
    if "event" in due:
        on = of_event(day, due["event"])
        return "event", due["event"], on.isoformat() if on else None, None, None
    if "hours" in due:
        return "hours", due["hours"], None, *_at_meter(record, due["hours"], "h")
    if "distance" in due:
        at = _at_meter(record, due["distance"], due["unit"])
        return "distance", f"{due['distance']} {due['unit']}", None, *at
    return "none", "", None, None, None


def _at_meter(record: ServiceRecord, more: str, unit: str) -> tuple[float | None, str | None]:
    """The meter at which it is due, in the meter's own unit: 500 miles after 80000 km is 80804.672
    km. Unknown where the meter was not said, or counts something else."""
    meter = record.meter
    sizes = next((kind for kind in (_METRES, _HOURS) if unit in kind), {})
    if meter is None or meter.unit not in sizes:
        return None, unit
    return float(meter.value) + float(more) * sizes[unit] / sizes[meter.unit], meter.unit
