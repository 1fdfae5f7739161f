"""A note as it was read -> the words that tell work, states, fates of parts and later work, each
with the thing that it is about."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Protocol

from talklog.mentions import Mention, near
from talklog.scopes import LONG_PAUSE, SHORT_PAUSE
from talklog.seeing.kinds import Fate, ReadNote, Span, Told, Work
from talklog.seeing.spans import decode, unpaused
from talklog.seeing.things import thing_of
from talklog.seeing.verbs_as_nouns import DONE, UNKNOWN_DONE, is_noun
from talklog.verbs import base_form
from talklog.vocabulary import load
from talklog.word_kinds import PART_CUES

if TYPE_CHECKING:
    import numpy as np

    from talklog.notereader import Likely

# Probabilities, chosen on the notes of dev and check: see models/extractor/README.md.
SURELY_DONE = 0.95  # of work to be done, over that of being work, whatever a rule says
OPEN = 0.2  # of the less probable of done and to be done, over that of being work
SEEN = 0.4  # of a word to be in a state
LATER = 0.7  # of a word to be in later work
PARTICLE = 0.5  # of a word to belong to a verb before it
OBJECT = 8  # words from a verb to its particle at most


class Asks(Protocol):
    """The reader, as far as it is asked which thing some words are about."""

    def things_of(self, name: str, likely: Likely, at: list[int]) -> np.ndarray: ...


def _asked(
    note: ReadNote, by: Asks, name: str, at: Sequence[int], pause: float = LONG_PAUSE
) -> list[Mention | None]:
    """The thing that each of some words is about; hardly one that is named only after a pause."""
    if not at:
        return []
    chances = by.things_of(name, note.likely, at)
    return [thing_of(note, row, own, pause) for row, own in zip(chances, at, strict=True)]


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
    parted = _parted_verb(note, at)
    if parted is not None:
        return at, parted
    return at, known.name if known else base_form((note.words[at],))


def _particles(note: ReadNote, at: int) -> list[int]:
    """The particles of a verb: "took apart", "took the bottom cover off"."""
    labels = note.likely.words["work"]
    behind = range(at + 1, min(at + OBJECT, len(note.words)))
    other = next((b for b in behind if labels[b, 1] + labels[b, 2] > DONE), len(note.words))
    found = [b for b in behind if b < other and labels[b, 3] > PARTICLE]
    return [b for b in found[:2] if not _excepts(note, b)]


def _parted_verb(note: ReadNote, at: int) -> str | None:
    """The name of a verb of the vocabulary whose particle stands behind a new part, where the
    reader takes it for none: "chucked a new belt on the mixer"."""
    verbs = _known_verbs()
    for behind in range(at + 2, min(at + OBJECT, len(note.words))):
        if _begins_anew(note, behind):
            return None
        between = set(note.words[at + 1 : behind])
        name = verbs.get((note.words[at], note.words[behind]))
        if name is not None and (load().small_words["newness"] - {"a"}) & between:
            return name
    return None


@lru_cache(maxsize=1)
def _known_verbs() -> dict[tuple[str, ...], str]:
    return {form: name for name, forms in load().actions.items() for form in forms}


def _excepts(note: ReadNote, at: int) -> bool:
    """Whether an exception begins at a word: the "apart" of "greased them apart from one"."""
    return any(tuple(note.words[at : at + len(own)]) == own for own in load().exceptions)


def _told(note: ReadNote, by: Asks, name: str, least: float) -> Iterator[Told]:
    spans = _in_one_breath(note, name, least)
    things = _asked(note, by, name, [first for first, _ in spans])
    for (first, last), thing in zip(spans, things, strict=True):
        yield Told(thing, first, last)


def _in_one_breath(note: ReadNote, name: str, least: float) -> list[Span]:
    """Spans of words, up to the first pause in each."""
    whole = decode(note.likely.words[name], least)
    return [next(unpaused(note.transcript, span)) for span in whole]


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
    spans = list(_joined(note, _in_one_breath(note, "state", SEEN)))
    things = _asked(note, by, "state", [first for first, _ in spans], pause=SHORT_PAUSE)
    for span, thing in zip(spans, things, strict=True):
        yield Told(thing, *_whole_state(note, *span))


def _joined(note: ReadNote, spans: Sequence[Span]) -> Iterator[Span]:
    """Words that tell no state by themselves, with the state right behind: "probably | shot"."""
    held: Span | None = None
    for first, last in spans:
        if held is not None and held[1] + 1 == first and not _begins_anew(note, first):
            first = held[0]
        elif held is not None:
            yield held
        held = (first, last) if load().small_words["no_states"].issuperset(
            note.words[first : last + 1]) else None  # fmt: skip
        if held is None:
            yield first, last
    if held is not None:
        yield held


def _whole_state(note: ReadNote, first: int, last: int) -> Span:
    """With the "not" before it, without small words that end it and what a cue begins anew:
    "worn | order a new one". A phrase of the vocabulary stays whole: "spot on"."""
    small = load().small_words
    cues = near(note.mentions.cues_of(*PART_CUES), first, last)
    last = min([last, *(cue.first - 1 for cue in cues if first < cue.first <= last)])
    while last > first and note.words[last] in small["never_last"] | small["never_ends"]:
        last -= 1
    first = _denied_from(note, first)
    behind = last + 1 < len(note.words) and not _begins_anew(note, last + 1)
    if note.words[last] in small["negations"] and behind:
        last += 1
    known = near(note.mentions.of("condition"), first, last)
    cut = [m for m in known if m.first <= last and first <= m.last and m.last > m.first]
    return min([first, *(m.first for m in cut)]), max([last, *(m.last for m in cut)])


def _denied_from(note: ReadNote, first: int) -> int:
    """The "not" before a state, over words that leave it so: "nothing obviously broken"."""
    small, at = load().small_words, first
    while at and not _begins_anew(note, at):
        at -= 1
        if note.words[at] in small["negations"]:
            first = at
        elif note.words[at] not in small["between_negations"]:
            break
    return first


def _begins_anew(note: ReadNote, at: int) -> bool:
    """Whether the speaker paused before a word."""
    return note.transcript.words[at].pause_before >= SHORT_PAUSE


def find_fates(note: ReadNote, by: Asks, least: float) -> Iterator[Fate]:
    """Words that are parts with a probability of ``least``, and what may have become of them."""
    from talklog.notearrays import FATES

    labels = note.likely.words["part"]
    places = [int(at) for at in (labels[:, 0] < 1 - least).nonzero()[0]]
    for at, thing in zip(places, _asked(note, by, "part", places), strict=True):
        chances = zip(FATES, map(float, labels[at, 1:]), strict=True)
        yield Fate(at, thing, dict(chances))
