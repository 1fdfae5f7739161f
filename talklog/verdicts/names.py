"""Names of things, places and measurements, compared as people mean them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from talklog.bands import plain_words
from talklog.numbers import find_numbers
from talklog.transcript import Word
from talklog.vocabulary import load
from talklog.word_kinds import Phrases

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


@lru_cache(maxsize=4096)
def names_of(*names: str) -> frozenset[tuple[str, ...]]:
    """The words of each name, as they are and as the vocabulary names what they stand for: a
    "coolant pump" of the sheet is the "water pump" of the reading."""
    plain = [plain_words(name) for name in names]
    known = [_in_vocabulary(words, _components()) for words in plain]
    return frozenset(words for words in (*plain, *known) if words)


def same_as_said(one: str, *others: str) -> bool:
    """Whether a thing has one of some names outright, whatever the vocabulary makes of them: a
    "top hose" and a "bottom hose" are both radiator hoses."""
    return joined(one) in map(joined, others)


def same_thing(one: str, other: str) -> bool:
    """Whether one of two names is the other, or what the vocabulary names the other: "pad" and
    "brake pad", not "top hose" and "bottom hose"."""
    first, second = ({"".join(name) for name in names_of(text)} for text in (one, other))
    return joined(one) in second or joined(other) in first


def label_words(text: str | None) -> frozenset[str]:
    """Words of a position or condition, any order, as the vocabulary names them, numbers as digits:
    "cylinder two" is {2}, "back left" is {rear, left}."""
    known = _in_vocabulary(plain_words(text or ""), _places())
    words = frozenset(_as_digits(word) for word in known)
    return words - load().small_words["of_places"] or words


def _as_digits(word: str) -> str:
    runs = find_numbers([Word(word)])
    return str(runs[0].readings[0][0].value) if runs else word


def described(reading: Any) -> str:
    """A reading of the notes or of a record by its names: "inlet valve, cylinder 2: clearance"."""
    named = [reading.component, reading.position, reading.condition]
    return f"{', '.join(part for part in named if part)}: {reading.quantity}"


# ---- names in the vocabulary ---------------------------------------------------------------------


def _in_vocabulary(
    words: tuple[str, ...], names: Mapping[tuple[str, ...], tuple[str, ...]]
) -> tuple[str, ...]:
    """The words with each phrase of the vocabulary as its name, the longest first."""
    found: list[str] = []
    at = 0
    while at < len(words):
        length = next((n for n in range(len(words) - at, 1, -1) if words[at : at + n] in names), 1)
        phrase = words[at : at + length]
        found += names.get(phrase, phrase)
        at += length
    return tuple(found)


@lru_cache(maxsize=1)
def _components() -> dict[tuple[str, ...], tuple[str, ...]]:
    return _by_phrase(load().components)


@lru_cache(maxsize=1)
def _places() -> dict[tuple[str, ...], tuple[str, ...]]:
    return _by_phrase(load().positions)


def _by_phrase(phrases: Phrases) -> dict[tuple[str, ...], tuple[str, ...]]:
    """Each phrase, in the singular, with the words of its name."""
    return {
        plain_words(" ".join(phrase)): plain_words(name)
        for name, own in phrases.items()
        for phrase in own
    }
