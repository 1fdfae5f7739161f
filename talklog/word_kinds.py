"""What the words of the vocabulary are: units, cues, shapes, and the categories of cues."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Phrase = tuple[str, ...]
NUMBER = "#"  # stands for a number in a shape
SHAPES = ("part_size", "tool_size", "time_or_date", "count")
Phrases = Mapping[str, tuple[Phrase, ...]]
# Cues that say what a number is: the nearest that reaches a number decides its role.
ROLE_CUES = (
    "quoted_spec",
    "other_opinion",
    "intention",
    "hypothetical",
    "tool_size",
    "part_size",
    "time_or_date",
    "count",
    "denied",
    "meter",
    "as_found",
    "as_left",
    "set",
    "measured",
)
PART_CUES = ("part_needed", "part_fitted", "part_on_order", "part_missing", "part_reused")
NO_PART = "part_not_fitted"  # younger than the trained reader, which does not know it
CATEGORIES = frozenset(
    (
        *ROLE_CUES,
        *PART_CUES,
        NO_PART,
        "superseded",
        "not_done",
        "follow_up",
        "caution",
        "terminator",
        "pseudo",
    )
)
DIRECTIONS = ("forward", "backward", "both")
TARGETS = ("any", "length", "sized", "time", "bare", "unit", "base", "dated")


@dataclass(frozen=True, slots=True)
class UnitWords:
    """A unit's name, what it can measure (most usual first), and how it is said or written."""

    name: str
    quantities: tuple[str, ...]
    phrases: tuple[Phrase, ...]
    written: frozenset[str]  # symbols such as "A" and "N.m", exactly as written


@dataclass(frozen=True, slots=True)
class Cue:
    """A phrase that says what a number near it is. See ``data/cues.toml``."""

    category: str
    phrase: Phrase
    direction: str
    scope: int
    targets: str = "any"
    firm: bool = True

    @property
    def forward(self) -> bool:
        return self.direction != "backward"

    @property
    def backward(self) -> bool:
        return self.direction != "forward"


@dataclass(frozen=True, slots=True)
class Shape:
    """Words around numbers that make a size, a date or a count: see ``data/shapes.toml``."""

    why: str
    words: Phrase


@dataclass(frozen=True, slots=True)
class Trade:
    """Words that a note must hold for a short word of many trades to be of this one, and words
    that it must not hold: see ``data/components.toml``."""

    shown_by: frozenset[Phrase]
    not_with: frozenset[Phrase]
