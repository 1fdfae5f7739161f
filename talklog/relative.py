"""Step 5c: values that are not the value itself: a difference, a bound, what was used on a way, or
one of an earlier time. Knows no bands.

"lost four psi", "ten mil too long", "more than two mil", "used to be thirty": they are asked about.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

from talklog.context import Context
from talklog.mentions import Mention, near
from talklog.notes import Reading
from talklog.roled import RoledNumber
from talklog.scopes import SHORT_PAUSE, paused
from talklog.transcript import Transcript
from talklog.vocabulary import load
from talklog.word_kinds import NUMBER, Phrase

DOUBTS = {  # list of forms -> what is asked
    "difference": "it may be a difference, and not the value itself",
    "used": "it may be what was used in a time or over a distance",
    "bound": "only a limit of it was said, and not how much it is",
    "past": "it may be a value of an earlier time",
}
NAMES = ("position", "state", "component")


class Note(NamedTuple):
    """A note, and its numbers by their first words."""

    transcript: Transcript
    numbers: Mapping[int, RoledNumber]
    names: Sequence[Mention]  # those of several words


def with_relative(context: Context, item: RoledNumber, reading: Reading) -> Reading:
    """The reading of a number, with a doubt if words beside it say that it is relative."""
    kinds = {reading.quantity, reading.unit, *_measured_in(reading.unit)}
    note = _note(context, item)
    said = (doubt for form, doubt in _forms_beside(note, item) if _fits(note, item, form, kinds))
    doubt = next(said, None)
    if doubt is None:
        return reading
    return replace(reading, doubt=f"{doubt}; {reading.doubt}" if reading.doubt else doubt)


def _note(context: Context, item: RoledNumber) -> Note:
    close = near(context.mentions.spans, item.first, item.last)
    names = [span for span in close if span.kind in NAMES and span.first < span.last]
    return Note(context.transcript, {one.first: one for one in context.roled}, names)


def _measured_in(name: str | None) -> Iterator[str]:
    """What a unit can measure."""
    for unit in load().units:
        if unit.name == name:
            yield from unit.quantities


@lru_cache(maxsize=1)
def _by_neighbour() -> dict[tuple[bool, str], list[tuple[Phrase, str]]]:
    """The forms by the word before their first number, or else by the word behind it."""
    found: dict[tuple[bool, str], list[tuple[Phrase, str]]] = {}
    for name, doubt in DOUBTS.items():
        for form in load().relative[name]:
            at = _place(form)
            key = (True, form[at - 1]) if at else (False, form[1])
            found.setdefault(key, []).append((form, doubt))
    return found


def _forms_beside(note: Note, item: RoledNumber) -> Iterator[tuple[Phrase, str]]:
    """The forms that may fit a number, by the words beside it."""
    words = note.transcript.words
    for leads, at in ((True, _before(note, item)), (False, item.last + 1)):
        if 0 <= at < len(words):
            yield from _by_neighbour().get((leads, words[at].text), ())


def _before(note: Note, item: RoledNumber) -> int:
    """The last word before a number that is no "about"."""
    at = item.first - 1
    while at >= 0 and note.transcript.words[at].text in load().approximately:
        at -= 1
    return at


def _fits(note: Note, item: RoledNumber, form: Phrase, kinds: Collection[str | None]) -> bool:
    """Whether a form stands around a number of some kinds, in one breath."""
    place = _place(form)
    first = _before(note, item) - place + 1 if place else item.first
    last = _end(note, item.last + 1, form[place + 1 :])
    if first < 0 or last is None or not _is_of(kinds, form[place]):
        return False
    lead = tuple(word.text for word in note.transcript.words[first : first + place])
    if lead != form[:place] or paused(note.transcript, first, last, seconds=SHORT_PAUSE):
        return False
    return not any(_is_cut(name, first, item.first, item.last, last) for name in note.names)


def _is_cut(name: Mention, first: int, start: int, end: int, last: int) -> bool:
    """Whether words of a form are but a part of a name: "ninety, high side two hundred". The number
    lies between the words ``start`` and ``end``."""
    before = first <= name.last < start and name.first < first
    return before or (end < name.first <= last < name.last)


def _end(note: Note, at: int, form: Phrase) -> int | None:
    """The last word of a form that goes on at a word, ``None`` if it does not fit."""
    words = note.transcript.words
    for piece in form:
        number = note.numbers.get(at)
        if piece.startswith(NUMBER):
            if number is None or not _is_of(_kinds(number), piece):
                return None
            at = number.last + 1
        elif at < len(words) and words[at].text == piece:
            at += 1
        else:
            return None
    return at - 1


def _kinds(number: RoledNumber) -> set[str]:
    """The names of the units that a number may have, and what they can measure."""
    units = number.unit.units if number.unit else ()
    return {kind for unit in units for kind in (unit.name, *unit.quantities)}


def _is_of(kinds: Collection[str | None], piece: str) -> bool:
    """Whether a number of some kinds may stand for "#", or "#volume"."""
    return piece == NUMBER or piece.removeprefix(NUMBER) in kinds


def _place(form: Phrase) -> int:
    return next(at for at, piece in enumerate(form) if piece.startswith(NUMBER))
