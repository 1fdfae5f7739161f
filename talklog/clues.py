"""Step 3c: what the vocabulary knows of each word, as the features that the trained reader sees.

A word's clues are strings: the word itself, its beginning and end, the unit, number, thing and cue
that it belongs to. Nothing here is learned.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import log10
from typing import NamedTuple

from talklog.mentions import Mentions
from talklog.numbers import NumberRun
from talklog.transcript import Transcript
from talklog.vocabulary import ROLE_CUES

# Number words that say more than their value; the others are all alike to the reader.
TELLING = frozenset(("a", "an", "one", "two", "half", "quarter", "couple", "point", "oh", "and"))
ALIKE = "#"


class Clues(NamedTuple):
    """The features of one word. Empty strings where there is nothing to say."""

    word: str
    prefix: str
    suffix: str
    unit: str
    number: str
    thing: str
    role_cue: str
    other_cue: str


def find_clues(transcript: Transcript, mentions: Mentions) -> list[Clues]:
    """One Clues for each word of the transcript."""
    length = len(transcript.words)
    units, things, role_cues, other_cues, numbers = ([""] * length for _ in range(5))
    for span in mentions.spans:
        if span.kind == "unit":
            _fill(units, span.first, span.last, span.units[0].quantities[0])
        else:
            name = span.name if span.kind in ("quantity", "position") else ""
            _fill(things, span.first, span.last, f"{span.kind} {name}")
    for mention in mentions.cues:
        table = role_cues if mention.cue.category in ROLE_CUES else other_cues
        _fill(table, mention.first, mention.last, mention.cue.category)
    for run in mentions.numbers:
        for at, form in _forms(run):
            numbers[at] = form
    return [
        Clues(*_letters(word.text, number), unit, number, *others)
        for word, unit, number, *others in zip(
            transcript.words, units, numbers, things, role_cues, other_cues, strict=True
        )
    ]


def _fill(table: list[str], first: int, last: int, name: str) -> None:
    for at in range(first, last + 1):
        table[at] = table[at] or f"{'B' if at == first else 'I'} {name}"


def _letters(word: str, number: str) -> Sequence[str]:
    if number and word not in TELLING:
        return ALIKE, "", ""
    return word, word[:4], word[-3:]


def _forms(run: NumberRun) -> Iterator[tuple[int, str]]:
    """The form and size of the numbers of a run's first reading."""
    for number in run.readings[0] if run.readings else ():
        size = f"{int(log10(abs(number.value)))}" if number.value else "0"
        for at in range(number.first, number.last + 1):
            yield at, f"{'B' if at == number.first else 'I'} {number.form} {size}"
