"""The types of what the trained reader makes of a note."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from talklog.mentions import Mention, Mentions
from talklog.numbers import Number
from talklog.transcript import Transcript

if TYPE_CHECKING:
    from talklog.notereader import Likely

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
    open: bool = False  # whether it may as well be the other


@dataclass(frozen=True, slots=True)
class Told:
    """Words ``first..last`` that tell a state of a thing, or work to come on it."""

    thing: Mention | None
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Fate:
    """A part that a word names, or means: "a new one", the thing that it is, and the probability
    of each thing that may have become of it."""

    at: int
    thing: Mention | None
    chances: dict[str, float]

    @property
    def status(self) -> str:
        """What most probably became of it."""
        return max(self.chances, key=self.chances.__getitem__)

    @property
    def chance(self) -> float:
        """How probable it is that the word is a part at all."""
        return sum(self.chances.values())


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
    place_chance: float  # how probable it is that just the words above 0.5 say it
    units: dict[Mention | None, float]  # the probability of each unit said, None of none


@dataclass(frozen=True, slots=True)
class Seen:
    """The whole note. ``numbers`` are in the order of the roled numbers."""

    things: tuple[Mention, ...]
    numbers: tuple[NumberSeen, ...]
    works: tuple[Work, ...]
    states: tuple[Told, ...]
    fates: tuple[Fate, ...]  # with those that only may be parts, if a rule says so
    laters: tuple[Told, ...]
    cuts: dict[int, tuple[Number, ...]]  # runs of number words to be divided otherwise
    maybe_works: frozenset[int] = frozenset()  # words that may be verbs of work, if a rule says so
    maybe_states: frozenset[int] = frozenset()  # the same, of words of states
    sure_states: frozenset[int] = frozenset()  # words that more probably than not are of states
    no_works: frozenset[int] = frozenset()  # the same, and more probably than verbs of work


@dataclass(frozen=True, slots=True)
class ReadNote:
    """A note with the probabilities that the reader gave, and then with the things found in it."""

    transcript: Transcript
    mentions: Mentions
    likely: Likely
    words: Sequence[str]
    things: tuple[Mention, ...] = ()
