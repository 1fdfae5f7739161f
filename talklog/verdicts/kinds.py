"""The types of what was judged: readings with their verdicts, and flags."""

from __future__ import annotations

from dataclasses import dataclass

from talklog.bands import Band
from talklog.notes import Reading, Unsure

OUT = ("low", "high")  # verdicts of values outside their band


@dataclass(frozen=True, slots=True)
class CheckedReading:
    """A reading with its verdict: in_band, low, high, no_band, unsure or unit_mismatch.

    ``band`` is the one it was judged by, ``None`` when there is none or several disagree.
    ``reason`` is one or more plain sentences. ``reading`` is as it came in, except that a unit
    which could be two things may have been settled by the band; the reason then says so.
    """

    reading: Reading
    verdict: str
    band: Band | None
    reason: str


@dataclass(frozen=True, slots=True)
class Flag:
    """Something to look at. ``level`` is stop, look or note; ``about`` names the reading or what
    was not heard; ``reading`` is its index in ``Checked.readings``, ``None`` if there is none."""

    level: str
    about: str
    text: str
    reading: int | None = None


@dataclass(frozen=True, slots=True)
class Checked:
    """Readings in the order of the note, flags most serious first. ``asked``: words that were not
    read, and what they would be out of if they had been."""

    readings: tuple[CheckedReading, ...] = ()
    flags: tuple[Flag, ...] = ()
    asked: tuple[Unsure, ...] = ()
