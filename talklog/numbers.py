"""Step 3a: number words -> every plausible value, by word index. Knows no units, parts or bands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from talklog.transcript import Word


@dataclass(frozen=True, slots=True)
class Number:
    """One number in one way of reading a run of number words.

    ``said`` is the value as a decimal string with the spoken precision ("30.0", "0.08", "0.3125").
    ``form`` says how it was spoken: integer, decimal, fraction, mixed, grouped ("one ten"),
    digits ("one two three four", "double four"), typed ("0.25").
    A range ("eight to ten", "between ten and fifteen") has ``high`` and ``high_said`` as well.
    """

    first: int
    last: int
    value: Decimal
    said: str
    form: str
    high: Decimal | None = None
    high_said: str | None = None


@dataclass(frozen=True, slots=True)
class NumberRun:
    """A stretch of number words. ``readings`` are complete ways to read it, most usual first:
    "one ten" -> ((110,), (1, 10)). There is always at least one."""

    first: int
    last: int
    readings: tuple[tuple[Number, ...], ...]


def find_numbers(words: Sequence[Word]) -> tuple[NumberRun, ...]:
    """All number runs of a note, left to right, not overlapping."""
    raise NotImplementedError
