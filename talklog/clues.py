"""Step 4b: what the vocabulary and the rules know of each word, as features for the trained reader.

A word's clues are strings: the word itself, its beginning and end, and the units, numbers, things
and cues that it belongs to. Nothing here is learned.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import log10
from typing import NamedTuple

from talklog.mentions import NO_THING, Mention, Mentions
from talklog.roled import MEASURING, RoledNumber
from talklog.scopes import LONG_PAUSE
from talklog.transcript import Transcript
from talklog.vocabulary import load
from talklog.word_kinds import NO_PART

# Number words that say more than their value; the others are all alike to the reader.
TELLING = frozenset(("a", "an", "one", "two", "half", "quarter", "couple", "point", "oh", "and"))
ALIKE = "#"
BREATH = 0.2  # seconds: a shorter silence says nothing
NO_PAUSE, SHORT, LONG = 0, 1, 2  # kinds of pauses
LARGEST_PLACE = 24  # a number that is no value and not larger may be a place


class Landmarks(NamedTuple):
    """What lies between two words is told by these: first words of values and of things, and for
    each word the axis of places that it is on, 0 for none."""

    values: list[int]
    things: list[int]
    axes: list[int]


def find_landmarks(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> Landmarks:
    """The landmarks of a note."""
    table = load().axes
    axes = [table.get(word.text.removesuffix("'s"), 0) for word in transcript.words]
    for item in roled:
        if item.unit is None and 0 < item.number.value <= LARGEST_PLACE:
            axes[item.number.last] = len(table) + 1
    return Landmarks(
        [item.number.first for item in roled if item.role in MEASURING],
        [mention.first for mention in mentions.of("component")],
        axes,
    )


def find_pauses(transcript: Transcript) -> list[int]:
    """For each word the kind of the pause before it."""
    return [NO_PAUSE if not at or word.pause_before < BREATH
            else LONG if word.pause_before >= LONG_PAUSE else SHORT
            for at, word in enumerate(transcript.words)]  # fmt: skip


def find_clues(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> list[list[str]]:
    """For each word of the transcript its clues; the first is the word, "#" for a number word."""
    found: list[list[str]] = [[] for _ in transcript.words]
    numbers = {at for item in roled for at in range(item.number.first, item.number.last + 1)}
    for at, word in enumerate(transcript.words):
        found[at] += _letters(word.text, number=at in numbers)
    for span in mentions.spans:
        if span.kind == NO_THING:
            continue  # the reader never learned of these
        for clue in _of_mention(span):
            _fill(found, span.first, span.last, clue)
    for mention in (m for m in mentions.cues if m.cue.category != NO_PART):
        _fill(found, mention.first, mention.last, f"cue {mention.cue.category}")
    for item in roled:
        _fill(found, item.number.first, item.number.last, f"is {item.role} {item.sure}")
        _fill(found, item.number.first, item.number.last, _form(item))
    for at, kind in enumerate(find_pauses(transcript)):
        if kind:
            found[at - 1].append(f"pause behind {kind}")
            found[at].append(f"pause before {kind}")
    return found


def _letters(word: str, *, number: bool) -> Iterator[str]:
    if number and word not in TELLING:
        yield ALIKE
    else:
        yield from (word, f"{word[:4]}-", f"-{word[-3:]}")


def _of_mention(span: Mention) -> Iterator[str]:
    if span.kind == "unit":
        yield from (f"measures {span.units[0].quantities[0]}", f"unit {span.name}")
    else:
        yield span.kind
        if span.kind != "state":
            yield f"{span.kind} {span.base or span.name}"


def _fill(found: list[list[str]], first: int, last: int, clue: str) -> None:
    for at in range(first, last + 1):
        found[at].append(f"{'B' if at == first else 'I'} {clue}")


def _form(item: RoledNumber) -> str:
    value = abs(item.number.value)
    return f"{item.number.form} {int(log10(value)) if value else 0}"
