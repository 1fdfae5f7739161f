"""Step 4c: sizes, dates, times of day and counts by their form: "m ten by one point five", "half
past ten", "the fourteenth of march", "four drips a minute". Knows no bands."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from talklog.mentions import Mention
from talklog.numbers import Number
from talklog.scopes import SHORT_PAUSE
from talklog.transcript import Transcript, Word
from talklog.vocabulary import load
from talklog.word_kinds import NUMBER, Shape

WRITTEN_SIZE = re.compile(
    r"[0-9]+w-?[0-9]+|m[0-9.]+(x[0-9.]+)*|[0-9./]+(x[0-9./]+)+|[0-9]+/[0-9]+-[0-9]+"
)
SIZES = ("length", "mass", "volume", "distance")  # what the unit of a size may measure


@dataclass(frozen=True, slots=True)
class Shaped:
    """A shape found at words ``first..last``, over the numbers that begin at ``numbers``."""

    shape: Shape
    first: int
    last: int
    numbers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Numbered:
    """A number and the unit behind it, if any."""

    number: Number
    unit: Mention | None


def find_shapes(transcript: Transcript, numbers: Sequence[Numbered]) -> tuple[Shaped, ...]:
    """The shapes of a note, left to right, not overlapping; of two at one number the longer."""
    starts = {item.number.first: item for item in numbers}
    found: list[Shaped] = []
    for item in numbers:
        if found and item.number.first <= found[-1].last:
            continue
        shaped = _shape_at(transcript.words, starts, item)
        if shaped is not None:
            found.append(shaped)
    return tuple(found)


def written_sizes(transcript: Transcript) -> tuple[int, ...]:
    """Typed words that are sizes as they stand: "5w30", "m8x1.25", "3/8-16"."""
    words = enumerate(transcript.words)
    return tuple(at for at, word in words if WRITTEN_SIZE.fullmatch(word.text))


@lru_cache(maxsize=1)
def _by_neighbour() -> dict[str, list[Shape]]:
    """The shapes by the word before their first number, or else the word behind it."""
    found: dict[str, list[Shape]] = {}
    for shape in load().shapes:
        lead = shape.words.index(NUMBER)
        found.setdefault(shape.words[lead - 1 if lead else 1], []).append(shape)
    return found


def _shape_at(
    words: Sequence[Word], starts: Mapping[int, Numbered], item: Numbered
) -> Shaped | None:
    first = item.number.first
    beside = {_text(words, at) for at in (first - 1, item.number.last + 1, _end(item) + 1)}
    shapes = [shape for word in (*beside, NUMBER) for shape in _by_neighbour().get(word, ())]
    for shape in sorted(shapes, key=lambda s: (-len(s.words), s.words)):
        start = first - shape.words.index(NUMBER)
        lead = shape.words[: first - start]
        if start >= 0 and lead == tuple(word.text for word in words[start:first]):
            fitted = _fit(words, starts, shape, first)
            if fitted is not None:
                return Shaped(shape, start, *fitted)
    return None


def _fit(
    words: Sequence[Word], starts: Mapping[int, Numbered], shape: Shape, at: int
) -> tuple[int, tuple[int, ...]] | None:
    """(last word, numbers) if the words from the first number on fit the shape."""
    numbers: list[int] = []
    tail = shape.words[shape.words.index(NUMBER) :]
    for place, piece in enumerate(tail):
        if numbers and at < len(words) and words[at].pause_before >= SHORT_PAUSE:
            return None
        if piece != NUMBER:
            if _text(words, at) != piece:
                return None
            at += 1
            continue
        item = starts.get(at)
        if item is None:
            return None
        following = tail[place + 1 : place + 2]
        named = bool(item.unit) and following == (_text(words, item.number.last + 1),)
        if not named and not _may_fill(shape.why, item):
            return None
        numbers.append(at)
        at = (item.number.last if named else _end(item)) + 1
    return at - 1, tuple(numbers)


def _may_fill(why: str, item: Numbered) -> bool:
    """Sizes may have a unit of length, times one of time; counts are whole and have none."""
    measures = {q for words in item.unit.units for q in words.quantities} if item.unit else set()
    if why == "count":
        whole = item.number.value == item.number.value.to_integral_value()
        return not measures and whole and item.number.form != "ordinal"
    if why == "time_or_date":
        return not measures or "time" in measures
    return not measures or not measures.isdisjoint(SIZES)


def _end(item: Numbered) -> int:
    return item.unit.last if item.unit else item.number.last


def _text(words: Sequence[Word], at: int) -> str:
    return words[at].text if 0 <= at < len(words) else ""
