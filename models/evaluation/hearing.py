"""What was heard, whatever it means: values with their units, and words made comparable.

Used to compare recognisers of any kind. Every value that stands straight before a unit counts, also
one that a note later takes back or quotes from a book; a value without a unit does not.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from talklog.assemble import understand
from talklog.mentions import find_mentions
from talklog.roled import ARTICLE
from talklog.roles import assign_roles
from talklog.transcript import Transcript

# Written forms -> the spoken words of the reference texts, and American -> British spelling.
# Common practice, no source.
SPOKEN = {
    "mm": "millimetres", "nm": "newton metres", "psi": "p s i", "rpm": "r p m", "pto": "p t o",
    "v": "volts", "hz": "hertz", "ma": "milliamps", "kg": "kilograms", "ml": "millilitres",
    "ok": "okay", "%": "percent", "°c": "degrees c", "°": "degrees", "ft-lbs": "foot pounds",
    "gauge": "gage", "mils": "mil", "tire": "tyre", "tires": "tyres", "runout": "run out",
    "endfloat": "end float", "tickover": "tick over", "nought": "zero", "naught": "zero",
    "oh": "zero", "o": "zero", "centre": "center", "aluminium": "aluminum", "gray": "grey",
    "meter": "metre", "meters": "metres", "liter": "litre", "liters": "litres",
    "millimeter": "millimetre", "millimeters": "millimetres", "milliliters": "millilitres",
    "carburetor": "carburettor", "per": "per", "cent": "cent",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Pair:
    """A value and the units its unit words can mean. ``flagged``: the program asks about it.
    ``number`` and ``unit`` are the first and last words of each."""

    value: Decimal
    units: frozenset[str]
    flagged: bool = False
    number: tuple[int, int] = (0, 0)
    unit: tuple[int, int] = (0, 0)


def pairs(transcript: Transcript) -> tuple[Pair, ...]:
    """All values with a unit straight behind them, in order. A range gives its two ends."""
    mentions = find_mentions(transcript)
    units = {mention.first: mention for mention in mentions.of("unit")}
    unsure = _unsure_words(transcript)
    found = []
    for item in (n for n in assign_roles(transcript, mentions) if n.role != ARTICLE):
        starts = _starts(transcript, item.number.last)
        unit = next((units[at] for at in starts if at in units), None)
        if unit is None:
            continue
        flagged = item.doubt is not None or item.number.first in unsure
        names = frozenset(choice.name for choice in unit.units)
        values = (item.number.value, item.number.high)
        where = ((item.number.first, item.number.last), (unit.first, unit.last))
        found += [Pair(value, names, flagged, *where) for value in values if value is not None]
    return tuple(found)


def _starts(transcript: Transcript, last: int) -> Iterator[int]:
    """Where a unit may begin after a number that ends at ``last``: "half an inch" and "two tenths
    of a thou" have words between."""
    yield last + 1
    for between in (("a",), ("an",), ("of", "a"), ("of", "an")):
        follow = transcript.words[last + 1 : last + 1 + len(between)]
        if tuple(word.text for word in follow) == between:
            yield last + 1 + len(between)


def _unsure_words(transcript: Transcript) -> set[int]:
    """Indices of the words that the finished record would ask about."""
    notes = understand(transcript)
    spans = [(u.first, u.last) for u in notes.unsure]
    spans += [(r.first, r.last) for r in notes.readings if r.doubt is not None]
    return {word for first, last in spans for word in range(first, last + 1)}


def matched(expected: Sequence[tuple[Decimal, str]], heard: Sequence[Pair]) -> tuple[int, int]:
    """(right, silently wrong). Right: expected pairs found in order among those heard; silently
    wrong: heard pairs that match no expected one and that the program does not ask about.

    The longest common subsequence, so that one missing value does not spoil the rest.
    """
    first = [(0, 0)]  # (right, minus silently wrong) for every pair of prefixes
    for pair in heard:
        first.append((0, first[-1][1] - (not pair.flagged)))
    above = first
    for value, unit in expected:
        row = [above[0]]
        for index, pair in enumerate(heard):
            choices = [(row[index][0], row[index][1] - (not pair.flagged)), above[index + 1]]
            if pair.value == value and unit in pair.units:
                choices.append((above[index][0] + 1, above[index][1]))
            row.append(max(choices))
        above = row
    right, wrong = above[-1]
    return right, -wrong


def comparable(text: str) -> str:
    """Words for counting word errors: digits spelled out, one spelling, no "and" in numbers."""
    spaced = re.sub(r"(?<=\d)(?=[a-z%°])", " ", text.lower().replace(",", ""))
    pieces = re.findall(r"\d+(?:\.\d+)?|[a-z'°%]+(?:-[a-z]+)*|\.\d+", spaced)
    words = " ".join(_spelled(piece) for piece in pieces)
    words = " ".join(SPOKEN.get(word, word) for word in words.replace("-", " ").split())
    words = re.sub(r"\b(hundred|thousand) and\b", r"\1", words)
    return re.sub(r"\ba (hundred|thousand)\b", r"one \1", words)


def _spelled(piece: str) -> str:
    if not piece[-1].isdigit():
        return SPOKEN.get(piece, piece)
    from num2words import num2words

    return num2words(Decimal(piece)).replace(",", "")
