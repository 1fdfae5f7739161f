"""What was heard, whatever it means: values with their units, and words made comparable.

Used to compare recognisers of any kind. Every value that stands straight before a unit counts, also
one that a note later takes back or quotes from a book; a value without a unit does not.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from talklog.assemble import understand
from talklog.mentions import find_mentions
from talklog.roles import RoledNumber, assign_roles
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
    """A value and the units its unit words can mean. ``flagged``: the program asks about it."""

    value: Decimal
    units: frozenset[str]
    flagged: bool = False


def pairs(transcript: Transcript) -> tuple[Pair, ...]:
    """All values with a unit, in order. A range gives its two ends."""
    unsure = _unsure_words(transcript)
    found = []
    for item in assign_roles(transcript, find_mentions(transcript)):
        if item.unit is None or not 0 < item.unit.first - item.number.last <= 2:
            continue
        flagged = item.doubt is not None or bool(unsure & _words_of(item))
        units = frozenset(unit.name for unit in item.unit.units)
        values = (item.number.value, item.number.high)
        found += [Pair(value, units, flagged) for value in values if value is not None]
    return tuple(found)


def _words_of(item: RoledNumber) -> set[int]:
    return set(range(item.number.first, item.last + 1))


def _unsure_words(transcript: Transcript) -> set[int]:
    """Indices of the words that the finished record would ask about."""
    notes = understand(transcript)
    spans = [(u.first, u.last) for u in notes.unsure]
    spans += [(r.first, r.last) for r in notes.readings if r.doubt is not None]
    return {word for first, last in spans for word in range(first, last + 1)}


def matched(expected: Sequence[tuple[Decimal, str]], heard: Sequence[Pair]) -> tuple[int, int]:
    """(right, silently wrong). Right: expected pairs found in order among those heard and not
    flagged; silently wrong: those not flagged that match no expected one.

    Longest common subsequence, so one missing value does not spoil the rest.
    """
    sure = [pair for pair in heard if not pair.flagged]
    row = [0] * (len(sure) + 1)
    for value, unit in expected:
        before = 0
        for index, pair in enumerate(sure, 1):
            kept = row[index]
            same = pair.value == value and unit in pair.units
            row[index] = before + 1 if same else max(row[index], row[index - 1])
            before = kept
    return row[-1], len(sure) - row[-1]


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
