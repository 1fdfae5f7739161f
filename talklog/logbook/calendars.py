"""Things to do as iCalendar VTODO components (RFC 5545), for any calendar program."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime

from talklog.logbook.due import DueItem

MOST_OCTETS = 75  # of a content line, without its end: RFC 5545, section 3.1
PRODUCT = "-//talklog//logbook//EN"


def as_calendar(items: Iterable[DueItem], *, now: datetime, book: str) -> str:
    """One VCALENDAR with a VTODO for each item. ``now`` has an offset; ``book`` makes the UIDs of
    two books differ."""
    stamp = now.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}"]
    for item in items:
        lines += _todo(item, stamp, book)
    lines.append("END:VCALENDAR")
    return "".join(f"{piece}\r\n" for line in lines for piece in folded(line))


def _todo(item: DueItem, stamp: str, book: str) -> Iterator[str]:
    machine = f"{item.machine_name}: " if item.machine_name else ""
    yield "BEGIN:VTODO"
    yield f"UID:{escaped(f'{item.entry_id}.{item.place}@{book}')}"
    yield f"DTSTAMP:{stamp}"
    yield f"SUMMARY:{escaped(machine + item.what)}"
    if item.due_on:
        yield f"DUE;VALUE=DATE:{item.due_on.replace('-', '')}"
    if text := _when(item):
        yield f"DESCRIPTION:{escaped(text)}"
    yield "STATUS:NEEDS-ACTION"
    yield "END:VTODO"


def _when(item: DueItem) -> str:
    if item.due_meter is not None:
        return f"Due at {item.due_meter:g} {item.meter_unit}; said on {item.said_on}."
    return f"Due: {item.due_text}; said on {item.said_on}." if item.due_text else ""


def escaped(text: str) -> str:
    """A TEXT value (RFC 5545, section 3.3.11), without control characters."""
    plain = "".join(letter if letter.isprintable() or letter == "\n" else " " for letter in text)
    for letter in ("\\", ";", ","):
        plain = plain.replace(letter, "\\" + letter)
    return plain.replace("\n", "\\n")


def folded(line: str) -> Iterator[str]:
    """A content line in pieces of at most MOST_OCTETS octets, never inside a character; all but
    the first begin with a space."""
    piece = ""
    for letter in line:
        if len((piece + letter).encode()) > MOST_OCTETS:
            yield piece
            piece = " "
        piece += letter
    yield piece
