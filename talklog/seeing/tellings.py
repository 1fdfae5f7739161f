"""A note as it was read -> the words that tell work, states, fates of parts and later work, each
with the thing that it is about."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Protocol

from talklog.mentions import Mention, near
from talklog.seeing.kinds import Fate, ReadNote, Span, Told, Work
from talklog.seeing.spans import decode, unpaused
from talklog.seeing.things import thing_of
from talklog.seeing.verbs_as_nouns import DONE, UNKNOWN_DONE, is_noun
from talklog.verbs import base_form
from talklog.vocabulary import PART_CUES, load

if TYPE_CHECKING:
    import numpy as np

    from talklog.notereader import Likely

# Probabilities, chosen on the notes of dev and check: see models/extractor/README.md.
SURELY_DONE = 0.95  # of work to be done, over that of being work, whatever a rule says
OPEN = 0.2  # of the less probable of done and to be done, over that of being work
SEEN = 0.4  # of a word to be in a state
FATED = 0.5  # of a word to be a part whose fate is told
LATER = 0.7  # of a word to be in later work
PARTICLE = 0.5  # of a word to belong to a verb before it
OBJECT = 8  # words from a verb to its particle at most


class Asks(Protocol):
    """The reader, as far as it is asked which thing some words are about."""

    def things_of(self, name: str, likely: Likely, at: list[int]) -> np.ndarray: ...


def _asked(note: ReadNote, by: Asks, name: str, at: Sequence[int]) -> list[Mention | None]:
    """The thing that each of some words is about."""
    if not at:
        return []
    chances = by.things_of(name, note.likely, at)
    return [thing_of(note, row, own) for row, own in zip(chances, at, strict=True)]


def find_works(note: ReadNote, by: Asks) -> Iterator[Work]:
    """Verbs of what is done or left undone; those that only look need a thing to look at."""
    labels = note.likely.words["work"]
    worked = labels[:, 1] + labels[:, 2]
    places = [int(at) for at in (worked > DONE).nonzero()[0]]
    for at, thing in zip(places, _asked(note, by, "work", places), strict=True):
        last, verb = _verb(note, at)
        doubtful = worked[at] < UNKNOWN_DONE and verb not in load().actions
        if doubtful or (thing is None and verb in load().checking) or is_noun(note, at):
            continue
        done, still = labels[at, 1], labels[at, 2]
        sure = bool(max(done, still) > SURELY_DONE * (done + still))
        either = bool(min(done, still) > OPEN * (done + still))
        yield Work(verb, thing, bool(done >= still), at, last, sure, either)


def _verb(note: ReadNote, at: int) -> tuple[int, str]:
    """The last word of a verb with its particle, and its base form."""
    close = near(note.mentions.of("action"), at, at)
    known = next((m for m in close if m.first <= at <= m.last), None)
    if known is not None and known.last > at:
        return known.last, known.name
    particles = _particles(note, at)
    if particles:
        words = (note.words[at], *(note.words[place] for place in particles))
        return (particles[-1] if particles[0] == at + 1 else at), base_form(words)
    return at, known.name if known else base_form((note.words[at],))


def _particles(note: ReadNote, at: int) -> list[int]:
    """The particles of a verb: "took apart", "took the bottom cover off"."""
    labels = note.likely.words["work"]
    behind = range(at + 1, min(at + OBJECT, len(note.words)))
    other = next((b for b in behind if labels[b, 1] + labels[b, 2] > DONE), len(note.words))
    found = [b for b in behind if b < other and labels[b, 3] > PARTICLE]
    return [b for b in found[:2] if not _excepts(note, b)]


def _excepts(note: ReadNote, at: int) -> bool:
    """Whether an exception begins at a word: the "apart" of "greased them apart from one"."""
    return any(tuple(note.words[at : at + len(own)]) == own for own in load().exceptions)


def _told(note: ReadNote, by: Asks, name: str, least: float) -> Iterator[Told]:
    whole = decode(note.likely.words[name], least)
    spans = [next(unpaused(note.transcript, span)) for span in whole]
    things = _asked(note, by, name, [first for first, _ in spans])
    for (first, last), thing in zip(spans, things, strict=True):
        yield Told(thing, first, last)


def find_laters(note: ReadNote, by: Asks) -> Iterator[Told]:
    """Work to come on a thing, or a verb of it: "it tomorrow" is none."""
    labels = note.likely.words["work"]
    for told in _told(note, by, "later", LATER):
        worked = labels[told.first : told.last + 1, 1:3].sum(1).max() > DONE
        if told.thing is not None or worked or _is_work(note, told):
            yield told


def _is_work(note: ReadNote, told: Told) -> bool:
    """Whether work is named: "back in six months for the full service"."""
    close = near(note.mentions.of("action"), told.first, told.first)
    return any(told.first <= verb.first and verb.last <= told.last for verb in close)


def find_states(note: ReadNote, by: Asks) -> Iterator[Told]:
    """States of things, with the words that belong to them."""
    for state in _told(note, by, "state", SEEN):
        first, last = _whole_state(note, state.first, state.last)
        yield replace(state, first=first, last=last)


def _whole_state(note: ReadNote, first: int, last: int) -> Span:
    """With the "not" before it, without small words that end it and what a cue begins anew:
    "worn | order a new one"."""
    small = load().small_words
    cues = near(note.mentions.cues_of(*PART_CUES), first, last)
    last = min([last, *(cue.first - 1 for cue in cues if first < cue.first <= last)])
    while last > first and note.words[last] in small["never_last"]:
        last -= 1
    while first and note.words[first - 1] in small["negations"]:
        first -= 1
    if note.words[last] in small["negations"] and last + 1 < len(note.words):
        last += 1
    return first, last


def find_fates(note: ReadNote, by: Asks) -> Iterator[Fate]:
    """Parts, and what became of them."""
    from talklog.notearrays import FATES

    labels = note.likely.words["part"]
    places = [int(at) for at in (labels[:, 0] < 1 - FATED).nonzero()[0]]
    for at, thing in zip(places, _asked(note, by, "part", places), strict=True):
        yield Fate(FATES[int(labels[at, 1:].argmax())], at, thing)
