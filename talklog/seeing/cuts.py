"""A note as it was read -> runs of number words that are to be divided otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import log

from talklog.mentions import near
from talklog.numbers import SCALES, Number, NumberRun
from talklog.roled import RoledNumber
from talklog.seeing.kinds import ReadNote

MUCH, TINY = 1.5, 1e-4  # in logarithms: nearly five times; least probability of a label


def find_cuts(
    note: ReadNote, roled: Sequence[RoledNumber]
) -> Iterator[tuple[int, tuple[Number, ...]]]:
    """Runs of number words that are divided much more probably in another way."""
    for run in note.mentions.numbers:
        own = tuple(n.number for n in near(roled, run.first, run.last)
                    if run.first <= n.number.first and n.number.last <= run.last)  # fmt: skip
        if len(run.readings) < 2 or not own or any(n.high is not None for n in own):
            continue
        ways = [reading for reading in run.readings if reading and not _torn(note, reading)]
        if not ways:
            continue
        best = max(ways, key=lambda way: _divided(note, run, way))
        if _divided(note, run, best) > _divided(note, run, own) + MUCH:
            yield run.first, best


def _torn(note: ReadNote, numbers: Sequence[Number]) -> bool:
    """Whether a division parts "five" from "hundred"."""
    return any(one.last + 1 == other.first and note.words[other.first] in SCALES
               for one, other in pairwise(numbers))  # fmt: skip


def _divided(note: ReadNote, run: NumberRun, numbers: Sequence[Number]) -> float:
    """The logarithm of the probability that a run is divided so."""
    labels = note.likely.words["number"]
    kinds = dict.fromkeys(range(run.first, run.last + 1), 0)
    for number in numbers:
        kinds |= dict.fromkeys(range(number.first, number.last + 1), 2)
        kinds[number.first] = 1
    return sum(log(max(float(labels[at, kind]), TINY)) for at, kind in kinds.items()
               if at < len(labels))  # fmt: skip
