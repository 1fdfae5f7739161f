"""Names of things, places and measurements, compared as people mean them."""

from __future__ import annotations

from typing import Any

from talklog.bands import plain_words
from talklog.numbers import find_numbers
from talklog.transcript import Word

# Names that people use for the same measurement (common practice, no source). A band under one
# name judges a reading under the other, and the reason says so.
_SAME_MEASUREMENT = (
    frozenset({"clearance", "gap"}),
    frozenset({"play", "backlash"}),
    frozenset({"level", "depth"}),
    frozenset({"angle", "turns"}),
    frozenset({"angle", "play"}),
    frozenset({"sag", "deflection"}),
    frozenset({"mass", "load", "tension"}),  # grams on a spring balance
    frozenset({"percentage", "elongation"}),
    frozenset({"percentage", "concentration"}),
    frozenset({"percentage", "sag"}),
)


def same_measurement(one: str, other: str) -> bool:
    """Whether people use two quantities for the same: "gap" and "clearance"."""
    return one != other and any({one, other} <= group for group in _SAME_MEASUREMENT)


def joined(name: str) -> str:
    """A component name for comparing: "drive-belts", "drive belt" and "drivebelt" are one."""
    return "".join(plain_words(name))


def label_words(text: str | None) -> frozenset[str]:
    """Words of a position or condition, any order, numbers as digits: "cylinder two" is {2}."""
    words = frozenset(_as_digits(word) for word in plain_words(text or ""))
    return words - {"cylinder", "number", "no", "the"}


def _as_digits(word: str) -> str:
    runs = find_numbers([Word(word)])
    return str(runs[0].readings[0][0].value) if runs else word


def described(reading: Any) -> str:
    """A reading of the notes or of a record by its names: "inlet valve, cylinder 2: clearance"."""
    named = [reading.component, reading.position, reading.condition]
    return f"{', '.join(part for part in named if part)}: {reading.quantity}"
