"""Where the words of some notes lie, one after another -> the rows among which the network looks:
neighbours, words to take the mean of, and for each word that asks, a window with what lies between.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from talklog.notenet import MEANS, MOST, REACH, Asking


def neighbours(starts: Sequence[int], ends: Sequence[int], reach: int) -> np.ndarray:
    """(n, 2 * reach + 1): for each word of notes at rows ``starts[i] : ends[i]`` its neighbours."""
    total = ends[-1] if ends else 0
    rows = np.arange(total)[:, None] + np.arange(-reach, reach + 1)[None]
    first, last = _bounds(starts, ends)
    return np.where((rows >= first[:, None]) & (rows < last[:, None]), rows, total)


def mean_bounds(starts: Sequence[int], ends: Sequence[int]) -> np.ndarray:
    """(2, len(MEANS), 2, n): see Words."""
    rows = np.arange(ends[-1] if ends else 0)
    first, last = _bounds(starts, ends)
    low = [[np.maximum(rows - reach, first), rows + 1] for reach in MEANS]
    high = [[rows, np.minimum(rows + 1 + reach, last)] for reach in MEANS]
    return np.array([low, high])


@dataclass(frozen=True, slots=True)
class Between:
    """For the words of some notes, n rows: how many values and things began before each, and the
    nearest words on the same axis of places, 0 .. n, before and behind."""

    values: np.ndarray  # (n + 1,)
    things: np.ndarray  # (n + 1,)
    earlier: np.ndarray  # (n + 1,) -1 for none
    later: np.ndarray  # (n + 1,) n + 1 for none


def between(values: Sequence[int], things: Sequence[int], axes: Sequence[int]) -> Between:
    """From the rows of first words and the axis of each row."""
    total = len(axes)
    earlier, later = np.full(total + 1, -1), np.full(total + 1, total + 1)
    last: dict[int, int] = {}
    for row, axis in enumerate(axes):
        if axis:
            if axis in last:
                earlier[row], later[last[axis]] = last[axis], row
            last[axis] = row
    return Between(_begun(values, total), _begun(things, total), earlier, later)


def _begun(rows: Sequence[int], total: int) -> np.ndarray:
    counts = np.zeros(total + 1, dtype="int64")
    np.add.at(counts, np.array(rows, dtype="int64") + 1, 1)
    return counts.cumsum()


def asking_at(
    rows: Sequence[int], starts: Sequence[int], ends: Sequence[int], lying: Between
) -> Asking:
    """Words at ``rows``, each of which chooses within its note."""
    total = ends[-1] if ends else 0
    own = np.array(rows, dtype="int64")
    window = own[:, None] + np.arange(-REACH, REACH + 1)[None]
    first, last = _bounds(starts, ends)
    there = (window >= first[own][:, None]) & (window < last[own][:, None])
    window = np.where(there, window, total)
    return Asking(own, window, there, np.where(there, _pairs(own[:, None], window, lying), 0))


def _pairs(own: np.ndarray, window: np.ndarray, lying: Between) -> np.ndarray:
    """What lies between: values, things, and whether a word on the same axis took the place."""
    before = window < own
    low, high = np.minimum(own, window) + 1, np.maximum(own, window)
    counts = [
        np.clip(begun[high] - begun[np.minimum(low, high)], 0, MOST - 1)
        for begun in (lying.values, lying.things)
    ]
    replaced = np.where(before, lying.later[window] < own, lying.earlier[window] > own)
    return ((before * MOST + counts[0]) * MOST + counts[1]) * 2 + replaced


def _bounds(starts: Sequence[int], ends: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    lengths = np.diff([*starts, ends[-1]]) if ends else np.zeros(0, dtype="int64")
    return np.repeat(starts, lengths).astype("int64"), np.repeat(ends, lengths).astype("int64")
