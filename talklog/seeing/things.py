"""A note as it was read -> the things named in it, and which of them a word or number is about."""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from typing import TYPE_CHECKING

from talklog.mentions import NO_THING, Mention, near
from talklog.nouns import singular
from talklog.scopes import LONG_PAUSE, SHORT_PAUSE, paused
from talklog.seeing.kinds import ReadNote, Span
from talklog.seeing.spans import decode, united, unpaused, words_of
from talklog.seeing.verbs_as_nouns import MAYBE_NAME, is_noun
from talklog.vocabulary import load

if TYPE_CHECKING:
    import numpy as np

# Probabilities, chosen on the notes of dev and check: see models/extractor/README.md.
NAMED = 0.65  # of a word to be in the name of a thing
SURE_NAME = 0.95  # the same, of a word that mostly is no name: the "bar" of "scraper bar"
SHORTER = 4.0  # times more probable is a word within a name as its end, where the name ends there
APART = 0.05  # what is left of the share of a thing named after the verb or state and a pause


def find_things(note: ReadNote) -> Iterator[Mention]:
    """The things that the vocabulary or the reader knows; what overlaps is one thing."""
    known = list(note.mentions.of("component"))
    maybe = (1 - note.likely.words["thing"][:, 0] > MAYBE_NAME).nonzero()[0].tolist()
    nouns = [(at, at) for at in maybe if is_noun(note, at)]
    spans = [*((m.first, m.last) for m in known), *_read_names(note), *nouns]
    for first, last in united(spans):
        inside = [m for m in known if first <= m.first and m.last <= last]
        if len(inside) == 1 and (inside[0].first, inside[0].last) == (first, last):
            yield inside[0]
        else:
            yield _named(note, first, last, inside)


def thing_of(
    note: ReadNote, chances: np.ndarray, at: int, pause: float = LONG_PAUSE
) -> Mention | None:
    """The most probable of ``owners``; a thing named only after a pause is hardly meant, and none
    at all by "nothing loose"."""
    found = owners(note, chances, at)
    if note.words[at] in load().small_words["nothing"]:
        found = {t: c for t, c in found.items() if t is None or not _is_next(note, t, at)}
    weighed = {thing: chance * (APART if _is_apart(note, thing, at, pause) else 1.0)
               for thing, chance in found.items()}  # fmt: skip
    return _whole(note, max(weighed, key=weighed.__getitem__))


def owners(note: ReadNote, chances: np.ndarray, at: int) -> dict[Mention | None, float]:
    """The probability of each thing in the window around a word, and of none."""
    from talklog.notenet import REACH

    found: dict[Mention | None, float] = {None: float(chances[-1])}
    for thing in near(note.things, at, at):
        low = max(0, thing.first - at + REACH)
        high = min(len(chances) - 1, thing.last - at + REACH + 1)
        if low < high:
            end = thing.last - (high - 1 - low - int(chances[low:high].argmax()))
            found |= _ending(note, thing, end, chances[low:high])
    return found


# ---- names ---------------------------------------------------------------------------------------


def _read_names(note: ReadNote) -> Iterator[Span]:
    """The names that the reader sees, without words that are part of none."""
    measured = words_of(note.mentions.of("quantity"))
    small = load().small_words
    never_said = small["no_names"] | small["before_names"] | small["particles"]
    never = measured | words_of([*note.mentions.of("unit"), *note.mentions.numbers])
    never |= {at for at, word in enumerate(note.words) if word in never_said}
    false = words_of(note.mentions.of(NO_THING))
    for span in decode(note.likely.words["thing"], NAMED):
        for part in unpaused(note.transcript, span):
            if false & set(range(part[0], part[1] + 1)):
                continue
            trimmed = _trimmed(note, part, measured, never)
            if trimmed:
                yield trimmed


def _trimmed(note: ReadNote, span: Span, measured: Set[int], never: Set[int]) -> Span | None:
    """Without words at its ends that are no name: "the oil level" is the oil. Of what is
    measured a word alone may be one: "the relief lifts at ..."."""
    first, last = span
    inside = 1 - note.likely.words["thing"][:, 0]
    if first == last and first in measured and inside[first] >= SURE_NAME:
        return span
    while first <= last and first in never:
        first += 1
    while first <= last and last in never and inside[last] < SURE_NAME:
        last -= 1
    return (first, last) if first <= last else None


def _named(note: ReadNote, first: int, last: int, inside: Sequence[Mention]) -> Mention:
    """A thing by its own words. The vocabulary names only what begins it, for behind another
    word the same may be another thing: a "hedge cutter blade" is no mower blade."""
    leading = next((m for m in inside if m.first == first), None)
    if leading and len(leading.name.split()) > leading.last - leading.first + 1:
        leading = None  # a name that says more than was said: "terminal clamp"
    parts = [leading.name] if leading else []
    behind = leading.last + 1 if leading else first
    parts += [singular(note.words[at]) for at in range(behind, last + 1)]
    base = inside[-1].base if inside and inside[-1].last == last else parts[-1]
    return Mention("component", " ".join(parts), first, last, base=base)


# ---- whose it is ---------------------------------------------------------------------------------


def _is_apart(note: ReadNote, thing: Mention | None, at: int, pause: float) -> bool:
    """Whether a thing was named only after a pause: "fitted a new one | battery ..."."""
    if thing is None or at >= thing.first:
        return False
    return paused(note.transcript, at, thing.first, seconds=pause)


def _is_next(note: ReadNote, thing: Mention, at: int) -> bool:
    """Whether a thing was named only after a pause: "nothing loose | pads five mil"."""
    return at < thing.first and paused(note.transcript, at, thing.first, seconds=SHORT_PAUSE)


def _whole(note: ReadNote, thing: Mention | None) -> Mention | None:
    """One that the vocabulary knows whole keeps its last word: "wheel cylinder weeping"."""
    known = (t for t in note.things if t.name in load().component_names)
    return next((t for t in known if thing and t.first == thing.first), thing)


def _ending(note: ReadNote, thing: Mention, end: int, chances: np.ndarray) -> dict[Mention, float]:
    """A thing whose name may end before its last word: "alternator belt ... charging"."""
    behind = thing.last - end
    if not behind or behind >= len(chances):
        return {thing: float(chances.sum())}
    inside, rest = float(chances[:-behind].sum()), float(chances[-behind:].sum())
    if inside < SHORTER * rest:
        return {thing: inside + rest}
    return {thing: rest, _shortened(note, thing.first, end): inside}


def _shortened(note: ReadNote, first: int, last: int) -> Mention:
    known = note.mentions.of("component")
    return _named(note, first, last, [m for m in known if first <= m.first and m.last <= last])
