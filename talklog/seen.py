"""Step 4d: what the trained reader makes of a note, in plain types. Knows no bands.

The reader gives probabilities; here they become things with their names, work, states, parts and
later work at words of the note, and for each number how probable its roles, quantities and things
are. Nothing is decided about numbers: that is for the steps behind, which know the rules too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from itertools import pairwise
from math import log
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from talklog.clues import find_clues, find_landmarks, find_pauses
from talklog.errors import DataFileError
from talklog.mentions import Mention, Mentions, near
from talklog.nouns import singular
from talklog.numberclues import number_clues
from talklog.numbers import SCALES, Number, NumberRun
from talklog.roled import RoledNumber
from talklog.scopes import SHORT_PAUSE, paused
from talklog.transcript import Transcript
from talklog.verbs import base_form
from talklog.vocabulary import PART_CUES, load

if TYPE_CHECKING:
    import numpy as np

    from talklog.notereader import Likely, NoteReader

FOLDER = Path(str(files("talklog"))) / "data" / "reader" / "note_reader"
# Probabilities, chosen on the notes of dev and check: see models/extractor/README.md.
NAMED = 0.65  # of a word to be in the name of a thing
SURE_NAME = 0.95  # the same, of a word that mostly is no name: the "bar" of "scraper bar"
BEGINS = 0.6  # of a word to begin another span
DONE = 0.2  # of a word to be a verb of work
UNKNOWN_DONE = 0.75  # the same, of a verb that the vocabulary does not know
SEEN = 0.4  # of a word to be in a state
FATED = 0.5  # of a word to be a part whose fate is told
LATER = 0.7  # of a word to be in later work
SAID_PLACE = 0.5  # of a word to say the place of a number
SURE_PLACE = 0.55  # the same, of a word that is mostly none: "high"
MAYBE_PLACE = 0.2  # the same, where a rule takes it for the place
MAYBE = 0.2  # of a word to be in a state, a part or a verb of work, where a rule takes it for one
SURELY_DONE = 0.95  # of work to be done, over that of being work, whatever a rule says
SHORTER = 4.0  # times more probable is a word within a name as its end, where the name ends there
NUMBERED = -(10**6)  # the axis of places that are numbers
MUCH, TINY = 1.5, 1e-4  # in logarithms: nearly five times; least probability of a label
APART = 0.05  # what is left of the share of a thing named after the verb or state and a pause
JOINING = ("and", "to", "the", "side", "hand", "end")  # words within "left side to right side"
OBJECT = 8  # words from a verb to its particle at most
PARTICLE = 0.5  # of a word to belong to a verb before it

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Work:
    """A verb of work at words ``first..last`` and the thing that it was done to."""

    verb: str
    thing: Mention | None
    done: bool
    first: int
    last: int
    sure: bool = False  # whether it certainly is done, or not


@dataclass(frozen=True, slots=True)
class Told:
    """Words ``first..last`` that tell a state of a thing, or work to come on it."""

    thing: Mention | None
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Fate:
    """A part that a word names, or means: "a new one", the thing that it is, and what became of
    it."""

    status: str
    at: int
    thing: Mention | None


@dataclass(frozen=True, slots=True)
class NumberSeen:
    """What a number probably is. ``owners`` has the probability of each thing that it may belong
    to, ``None`` of being of nothing that was named; ``place`` are the words that say where."""

    roles: dict[str, float]
    quantities: dict[str, float]
    owners: dict[Mention | None, float]
    place: tuple[int, ...]
    maybe_place: frozenset[int]  # with the words that may say where, if a rule says so too
    sure_place: frozenset[int]  # those that say it almost certainly
    units: dict[Mention | None, float]  # the probability of each unit said, None of none


@dataclass(frozen=True, slots=True)
class Seen:
    """The whole note. ``numbers`` are in the order of the roled numbers."""

    things: tuple[Mention, ...]
    numbers: tuple[NumberSeen, ...]
    works: tuple[Work, ...]
    states: tuple[Told, ...]
    fates: tuple[Fate, ...]
    laters: tuple[Told, ...]
    cuts: dict[int, tuple[Number, ...]]  # runs of number words to be divided otherwise
    maybe_works: frozenset[int] = frozenset()  # words that may be verbs of work, if a rule says so
    maybe_states: frozenset[int] = frozenset()  # the same, of words of states
    maybe_fates: frozenset[int] = frozenset()  # the same, of parts


@lru_cache(maxsize=1)
def reader() -> NoteReader:
    """The reader with its weights. Raises DataFileError when its folder is not whole."""
    from spacy.vocab import Vocab

    from talklog.notereader import load as load_reader

    try:
        return load_reader(Vocab(), FOLDER)
    except (OSError, ValueError, KeyError) as error:
        raise DataFileError(
            f"{FOLDER}: the trained reader cannot be loaded ({error}); install talklog again"
        ) from error


def see(transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]) -> Seen:
    """What the reader makes of a note and its numbers."""
    return seen_by(reader(), transcript, mentions, roled)


class Reads(Protocol):
    """What ``notereader.NoteReader`` does."""

    def read(self, note: Any) -> Likely: ...
    def things_of(self, name: str, likely: Likely, at: list[int]) -> np.ndarray: ...


def seen_by(
    by: Reads, transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> Seen:
    """The same by any reader."""
    if not transcript.words:
        return Seen((), (), (), (), (), (), {})
    likely = by.read(_clues_of(transcript, mentions, roled))
    return _Decoder(transcript, mentions, likely, by).seen(roled)


def _clues_of(transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]) -> Any:
    from talklog.notearrays import NoteClues

    return NoteClues(
        said=[word.text for word in transcript.words],
        words=find_clues(transcript, mentions, roled),
        numbers=[(item.number.first, item.number.last, item.last) for item in roled],
        number_clues=number_clues(transcript, mentions, roled),
        landmarks=find_landmarks(transcript, mentions, roled),
        pauses=find_pauses(transcript),
    )


class _Decoder:
    """Probabilities -> what they say."""

    def __init__(
        self, transcript: Transcript, mentions: Mentions, likely: Likely, by: Reads
    ) -> None:
        self.transcript, self.mentions, self.likely, self.by = transcript, mentions, likely, by
        self.words = [word.text for word in transcript.words]
        self._measured = _words_of(mentions.of("quantity"))
        self._no_names = self._measured | _words_of([*mentions.of("unit"), *mentions.numbers])
        small = load().small_words
        never = small["no_names"] | small["before_names"] | small["particles"]
        self._no_names |= {at for at, word in enumerate(self.words) if word in never}
        self.things = tuple(self._find_things())

    def seen(self, roled: Sequence[RoledNumber]) -> Seen:
        return Seen(
            things=self.things,
            numbers=tuple(self._number(at, item) for at, item in enumerate(roled)),
            works=tuple(self._works()),
            states=tuple(self._states()),
            fates=tuple(self._fates()),
            laters=tuple(self._laters()),
            cuts=dict(self._cuts(roled)),
            maybe_works=_over(1 - self.likely.words["work"][:, 0], MAYBE),
            maybe_states=_over(1 - self.likely.words["state"][:, 0], MAYBE),
            maybe_fates=_over(1 - self.likely.words["part"][:, 0], MAYBE),
        )

    # ---- things ----------------------------------------------------------------------------------

    def _find_things(self) -> Iterator[Mention]:
        """The things that the vocabulary or the reader knows; what overlaps is one thing."""
        known = list(self.mentions.of("component"))
        whole = decode(self.likely.words["thing"], NAMED)
        read = [self._trimmed(part) for span in whole for part in self._unpaused(span)]
        spans = [*((m.first, m.last) for m in known), *(s for s in read if s)]
        for first, last in _united(spans):
            inside = [m for m in known if first <= m.first and m.last <= last]
            if len(inside) == 1 and (inside[0].first, inside[0].last) == (first, last):
                yield inside[0]
            else:
                yield self._named(first, last, inside)

    def _unpaused(self, span: Span) -> Iterator[Span]:
        """A span, parted where the speaker paused."""
        first, last = span
        for at in range(first + 1, last + 1):
            if self.transcript.words[at].pause_before >= SHORT_PAUSE:
                yield first, at - 1
                first = at
        yield first, last

    def _trimmed(self, span: Span) -> Span | None:
        """Without words at its ends that are no name: "the oil level" is the oil. Of what is
        measured a word alone may be one: "the relief lifts at ..."."""
        first, last = span
        inside = 1 - self.likely.words["thing"][:, 0]
        if first == last and first in self._measured and inside[first] >= SURE_NAME:
            return span
        while first <= last and first in self._no_names:
            first += 1
        while first <= last and last in self._no_names and inside[last] < SURE_NAME:
            last -= 1
        return (first, last) if first <= last else None

    def _named(self, first: int, last: int, inside: Sequence[Mention]) -> Mention:
        """A thing by its own words. The vocabulary names only what begins it, for behind another
        word the same may be another thing: a "hedge cutter blade" is no mower blade."""
        leading = next((m for m in inside if m.first == first), None)
        if leading and len(leading.name.split()) > leading.last - leading.first + 1:
            leading = None  # a name that says more than was said: "terminal clamp"
        parts = [leading.name] if leading else []
        behind = leading.last + 1 if leading else first
        parts += [singular(self.words[at]) for at in range(behind, last + 1)]
        base = inside[-1].base if inside and inside[-1].last == last else parts[-1]
        return Mention("component", " ".join(parts), first, last, base=base)

    def _thing_of(self, chances: np.ndarray, at: int) -> Mention | None:
        owners = self._owners(chances, at)
        weighed = {thing: chance * (APART if self._is_apart(thing, at) else 1.0)
                   for thing, chance in owners.items()}  # fmt: skip
        return max(weighed, key=weighed.__getitem__)

    def _is_apart(self, thing: Mention | None, at: int) -> bool:
        """Whether a thing was named only after a long pause: "fitted a new one | battery ..."."""
        return thing is not None and at < thing.first and paused(self.transcript, at, thing.first)

    def _owners(self, chances: np.ndarray, at: int) -> dict[Mention | None, float]:
        """The probability of each thing in the window around a word, and of none."""
        from talklog.notenet import REACH

        found: dict[Mention | None, float] = {None: float(chances[-1])}
        for thing in near(self.things, at, at):
            low = max(0, thing.first - at + REACH)
            high = min(len(chances) - 1, thing.last - at + REACH + 1)
            if low < high:
                end = thing.last - (high - 1 - low - int(chances[low:high].argmax()))
                found |= self._ending(thing, end, chances[low:high])
        return found

    def _ending(self, thing: Mention, end: int, chances: np.ndarray) -> dict[Mention, float]:
        """A thing whose name may end before its last word: "alternator belt ... charging"."""
        behind = thing.last - end
        if not behind or behind >= len(chances):
            return {thing: float(chances.sum())}
        inside, rest = float(chances[:-behind].sum()), float(chances[-behind:].sum())
        if inside < SHORTER * rest:
            return {thing: inside + rest}
        return {thing: rest, self._shortened(thing.first, end): inside}

    def _shortened(self, first: int, last: int) -> Mention:
        known = self.mentions.of("component")
        return self._named(first, last, [m for m in known if first <= m.first and m.last <= last])

    # ---- numbers ---------------------------------------------------------------------------------

    def _number(self, at: int, item: RoledNumber) -> NumberSeen:
        from talklog.notearrays import QUANTITIES, ROLES
        from talklog.notenet import REACH

        first, chances = item.number.first, self.likely.places[at]
        place = {first + int(away) - REACH: float(chances[away])
                 for away in (chances > SAID_PLACE).nonzero()[0]}  # fmt: skip
        return NumberSeen(
            roles=dict(zip(ROLES, self.likely.roles[at].tolist(), strict=True)),
            quantities=dict(zip(QUANTITIES, self.likely.quantities[at].tolist(), strict=True)),
            owners=self._owners(self.likely.things[at], first),
            place=tuple(sorted(self._one_of_each_axis(place))),
            maybe_place=frozenset(at + first - REACH for at in _over(chances, MAYBE_PLACE)),
            sure_place=frozenset(at + first - REACH for at in _over(chances, SURE_PLACE)),
            units=_chances_of(self.mentions.of("unit"), self.likely.units[at], first),
        )

    def _one_of_each_axis(self, place: dict[int, float]) -> set[int]:
        """Nothing is both left and right, or two and three: of the words on one axis the most
        probable stays, with those that are said together with it: "left to right"."""
        best: dict[int, int] = {}
        numbered = {at for run in self.mentions.numbers for at in range(run.first, run.last + 1)}
        axes: dict[int, int] = {}
        for at in sorted(place, key=place.__getitem__):
            axis = load().axes.get(self.words[at].removesuffix("'s"), 0)
            axes[at] = NUMBERED if at in numbered else axis
            best[axes[at] or -at - 1] = at
        chosen = set(best.values())
        return chosen | {at for at in place for own in chosen
                         if axes[at] == axes[own] and self._is_stretch(at, own)}  # fmt: skip

    def _is_stretch(self, one: int, other: int) -> bool:
        """ "left to right", "top and bottom"; of numbers only "between two and three"."""
        first, last = sorted((one, other))
        inside = self.words[first + 1 : last]
        numbered = any(run.first <= first <= run.last
                       for run in near(self.mentions.numbers, first, first))  # fmt: skip
        between = "between" in self.words[max(0, first - 2) : first]
        joined = {"and", "to"} & set(inside) and set(inside) <= set(JOINING)
        return bool(joined) and (between or not numbered)

    def _cuts(self, roled: Sequence[RoledNumber]) -> Iterator[tuple[int, tuple[Number, ...]]]:
        """Runs of number words that are divided much more probably in another way."""
        for run in self.mentions.numbers:
            own = tuple(n.number for n in near(roled, run.first, run.last)
                        if run.first <= n.number.first and n.number.last <= run.last)  # fmt: skip
            if len(run.readings) < 2 or not own or any(n.high is not None for n in own):
                continue
            ways = [reading for reading in run.readings if reading and not self._torn(reading)]
            if not ways:
                continue
            best = max(ways, key=lambda way: self._divided(run, way))
            if self._divided(run, best) > self._divided(run, own) + MUCH:
                yield run.first, best

    def _torn(self, numbers: Sequence[Number]) -> bool:
        """Whether a division parts "five" from "hundred"."""
        return any(one.last + 1 == other.first and self.words[other.first] in SCALES
                   for one, other in pairwise(numbers))  # fmt: skip

    def _divided(self, run: NumberRun, numbers: Sequence[Number]) -> float:
        """The logarithm of the probability that a run is divided so."""
        labels = self.likely.words["number"]
        kinds = dict.fromkeys(range(run.first, run.last + 1), 0)
        for number in numbers:
            kinds |= dict.fromkeys(range(number.first, number.last + 1), 2)
            kinds[number.first] = 1
        return sum(log(max(float(labels[at, kind]), TINY)) for at, kind in kinds.items()
                   if at < len(labels))  # fmt: skip

    # ---- words -----------------------------------------------------------------------------------

    def _asked(self, name: str, at: Sequence[int]) -> list[Mention | None]:
        if not at:
            return []
        chances = self.by.things_of(name, self.likely, at)
        return [self._thing_of(row, own) for row, own in zip(chances, at, strict=True)]

    def _works(self) -> Iterator[Work]:
        labels = self.likely.words["work"]
        worked = labels[:, 1] + labels[:, 2]
        places = [int(at) for at in (worked > DONE).nonzero()[0]]
        for at, thing in zip(places, self._asked("work", places), strict=True):
            last, verb = self._verb(at)
            doubtful = worked[at] < UNKNOWN_DONE and verb not in load().actions
            if doubtful or (thing is None and verb in load().checking):
                continue
            done, still = labels[at, 1], labels[at, 2]
            sure = bool(max(done, still) > SURELY_DONE * (done + still))
            yield Work(verb, thing, bool(done >= still), at, last, sure)

    def _verb(self, at: int) -> tuple[int, str]:
        """The last word of a verb with its particle, and its base form."""
        close = near(self.mentions.of("action"), at, at)
        known = next((m for m in close if m.first <= at <= m.last), None)
        if known is not None and known.last > at:
            return known.last, known.name
        particles = self._particles(at)
        if particles:
            words = (self.words[at], *(self.words[place] for place in particles))
            return (particles[-1] if particles[0] == at + 1 else at), base_form(words)
        return at, known.name if known else base_form((self.words[at],))

    def _particles(self, at: int) -> list[int]:
        """The particles of a verb: "took apart", "took the bottom cover off"."""
        labels = self.likely.words["work"]
        behind = range(at + 1, min(at + OBJECT, len(self.words)))
        other = next((b for b in behind if labels[b, 1] + labels[b, 2] > DONE), len(self.words))
        found = [b for b in behind if b < other and labels[b, 3] > PARTICLE]
        return found[:2]

    def _told(self, name: str, least: float) -> Iterator[Told]:
        whole = decode(self.likely.words[name], least)
        spans = [next(self._unpaused(span)) for span in whole]
        things = self._asked(name, [first for first, _ in spans])
        for (first, last), thing in zip(spans, things, strict=True):
            yield Told(thing, first, last)

    def _laters(self) -> Iterator[Told]:
        """Work to come on a thing, or a verb of it: "it tomorrow" is none."""
        labels = self.likely.words["work"]
        for told in self._told("later", LATER):
            worked = labels[told.first : told.last + 1, 1:3].sum(1).max() > DONE
            if told.thing is not None or worked:
                yield told

    def _states(self) -> Iterator[Told]:
        for state in self._told("state", SEEN):
            first, last = self._whole_state(state.first, state.last)
            yield replace(state, first=first, last=last)

    def _whole_state(self, first: int, last: int) -> Span:
        """With the "not" before it, without small words that end it and what a cue begins anew:
        "worn | order a new one"."""
        small = load().small_words
        cues = near(self.mentions.cues_of(*PART_CUES), first, last)
        last = min([last, *(cue.first - 1 for cue in cues if first < cue.first <= last)])
        while last > first and self.words[last] in small["never_last"]:
            last -= 1
        while first and self.words[first - 1] in small["negations"]:
            first -= 1
        if self.words[last] in small["negations"] and last + 1 < len(self.words):
            last += 1
        return first, last

    def _fates(self) -> Iterator[Fate]:
        from talklog.notearrays import FATES

        labels = self.likely.words["part"]
        places = [int(at) for at in (labels[:, 0] < 1 - FATED).nonzero()[0]]
        for at, thing in zip(places, self._asked("part", places), strict=True):
            yield Fate(FATES[int(labels[at, 1:].argmax())], at, thing)


def _words_of(spans: Iterable[Any]) -> set[int]:
    return {at for span in spans for at in range(span.first, span.last + 1)}


def _chances_of(
    spans: Sequence[Mention], chances: np.ndarray, at: int
) -> dict[Mention | None, float]:
    """The probability of each span in the window around a word, and of none of them."""
    from talklog.notenet import REACH

    found: dict[Mention | None, float] = {None: float(chances[-1])}
    for span in near(spans, at, at):
        low, high = max(0, span.first - at + REACH), span.last - at + REACH + 1
        own = float(chances[low : min(high, len(chances) - 1)].sum()) if low < high else 0.0
        found[span] = own
    return found


def _over(chances: np.ndarray, least: float) -> frozenset[int]:
    return frozenset(int(at) for at in (chances > least).nonzero()[0])


def _united(spans: Iterable[Span]) -> Iterator[Span]:
    """Spans that share a word as one, in order."""
    held: Span | None = None
    for first, last in sorted(spans):
        if held is not None and first <= held[1]:
            held = (held[0], max(held[1], last))
            continue
        if held is not None:
            yield held
        held = (first, last)
    if held is not None:
        yield held


def decode(rows: np.ndarray, least: float) -> list[Span]:
    """Probabilities (outside, begins, inside) of each word -> inclusive spans of the words that
    are in one with more than ``least``; one weak word does not break a span."""
    spans: list[list[int]] = []
    inside = 1 - rows[:, 0]
    for at in (inside > least).nonzero()[0].tolist():
        weak = inside[at - 1] > least / 3
        goes_on = spans and at - spans[-1][1] <= 1 + bool(weak)
        if goes_on and not (rows[at, 1] > BEGINS and rows[at, 1] > rows[at, 2]):
            spans[-1][1] = at
        else:
            spans.append([at, at])
    return [(first, last) for first, last in spans]
