"""Step 4b: notes with their clues -> the arrays that the network reads. Knows no spaCy.

Clues are strings; a clue's row in a table is its CRC-32 (ISO 3309) modulo the size of the table.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, chain
from zlib import crc32

import numpy as np

from talklog.encoder import pieces_in
from talklog.notenet import HASHED, NUMBER_HASHED, Numbers, Words
from talklog.noterows import Between, asking_at, between, mean_bounds, neighbours
from talklog.wordpieces import BEGIN, END, UNKNOWN, pieces_of

ROLES = (
    *("measured", "set", "as_found", "as_left"),
    *("quoted_spec", "other_opinion", "tool_size", "part_size", "superseded", "intention"),
    *("hypothetical", "time_or_date", "count", "position", "follow_up", "meter"),
    *("part_quantity", "unsure", "no_number"),
)
QUANTITIES = (
    *("clearance", "gap", "play", "backlash", "runout", "depth", "height", "length", "width"),
    *("thickness", "diameter", "taper", "flatness", "squareness", "toe", "sag", "deflection"),
    *("elongation", "torque", "tension", "load", "pressure", "compression", "vacuum", "voltage"),
    *("current", "resistance", "frequency", "temperature", "speed", "flow", "volume", "level"),
    *("concentration", "mass", "angle", "time", "distance", "percentage", "turns", "count"),
)
FATES = ("fitted", "needed", "missing", "reused", "on_order")
UNTOLD = 0  # key of a clue that is not told
BREAKS = ("", ",", ".")  # how each kind of pause was written in what the encoder has read


@dataclass(frozen=True, slots=True)
class NoteClues:
    """A note as the network sees it. ``words``: for each word its clues, the first of them the word
    itself; ``numbers``: first word, last word and last word of the unit of each number."""

    said: Sequence[str]
    words: Sequence[Sequence[str]]
    numbers: Sequence[Sequence[int]]
    number_clues: Sequence[Sequence[str]]
    landmarks: Sequence[Sequence[int]]  # see ``clues.Landmarks``
    pauses: Sequence[int]  # the kind of that before each word, see ``clues.find_pauses``


@dataclass(frozen=True, slots=True)
class KeyedNote:
    """The same with keys instead of strings."""

    pieces: list[list[int]]  # of each word
    breaks: dict[int, int]  # word -> the piece for a pause before it
    clues: list[list[int]]  # of each word, one at least
    numbers: Sequence[Sequence[int]]
    number_clues: list[list[int]]  # of each number, one at least
    landmarks: Sequence[Sequence[int]]


def keyed(note: NoteClues, table: Mapping[str, int]) -> KeyedNote:
    """``table``: piece of a word -> its row."""
    return KeyedNote(
        pieces=[pieces_of(word, table) for word in note.said],
        breaks={
            at: table.get(BREAKS[kind], table[UNKNOWN])
            for at, kind in enumerate(note.pauses)
            if kind
        },
        clues=[[_key(clue) for clue in word[1:]] or [UNTOLD] for word in note.words],
        numbers=note.numbers,
        number_clues=[[_number_key(clue) for clue in own] for own in note.number_clues],
        landmarks=note.landmarks,
    )


def words_of(notes: Sequence[KeyedNote], table: Mapping[str, int]) -> Words:
    """The words of some notes. There must be one at least."""
    starts, ends = bounds([len(note.clues) for note in notes])
    clues = [word for note in notes for word in note.clues]
    return Words(
        pieces=pieces_in(
            [note.pieces for note in notes],
            [note.breaks for note in notes],
            begin=table[BEGIN],
            end=table[END],
        ),
        clues=_array(chain.from_iterable(clues)),
        starts=_array([0, *accumulate(map(len, clues))][:-1]),
        wide=neighbours(starts, ends, 2),
        close=neighbours(starts, ends, 1),
        means=mean_bounds(starts, ends),
    )


def numbers_of(notes: Sequence[KeyedNote]) -> Numbers:
    """The numbers of some notes. There must be one at least."""
    starts, ends = bounds([len(note.clues) for note in notes])
    sides = []
    for note, start, end in zip(notes, starts, ends, strict=True):
        for first, last, unit in note.numbers:
            before, behind = start + first - 1, start + unit + 1
            sides.append([start + first, start + last, before if first else ends[-1],
                          behind if behind < end else ends[-1]])  # fmt: skip
    clues = [own for note in notes for own in note.number_clues]
    asking = asking_at([side[0] for side in sides], starts, ends, lying_in(notes))
    return Numbers(
        asking=asking,
        sides=np.array(sides),
        clues=_array(chain.from_iterable(clues)),
        starts=_array([0, *accumulate(map(len, clues))][:-1]),
    )


def lying_in(notes: Sequence[KeyedNote]) -> Between:
    """What lies between the words of some notes."""
    starts, _ = bounds([len(note.clues) for note in notes])
    rows = [[start + at for note, start in zip(notes, starts, strict=True)
             for at in note.landmarks[part]] for part in (0, 1)]  # fmt: skip
    return between(*rows, [axis for note in notes for axis in note.landmarks[2]])


def bounds(lengths: Sequence[int]) -> tuple[list[int], list[int]]:
    """The first row of each note, and the row after its last."""
    ends = list(accumulate(lengths))
    return [0, *ends[:-1]] if ends else [], ends


def _array(values: Iterable[int]) -> np.ndarray:
    return np.fromiter(values, dtype="int64")


@lru_cache(maxsize=200_000)
def _key(clue: str) -> int:
    return crc32(clue.encode()) % (HASHED - 1) + 1


@lru_cache(maxsize=200_000)
def _number_key(clue: str) -> int:
    return crc32(clue.encode()) % (NUMBER_HASHED - 1) + 1
