"""The reader's pretrained encoder: pieces of words in, a row for each word out, which says what the
word means where it stands.

A small transformer that has read much general English (see models/extractor/README.md) and was
trained on with the reader. Like ``notenet`` written for NumPy and PyTorch. Long notes are read in
windows that overlap.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Any, Protocol

import numpy as np

WIDTH, HEADS, INNER = 384, 12, 1536
PLACES = 128  # pieces in a window, with its beginning and end
MARGIN = 12  # words at the edge of a window that are read better in the next one
NEVER = -1e4  # score of a piece that is not there

Array = Any
Params = Mapping[str, Array]


class Ops(Protocol):
    """What is called otherwise in NumPy and in PyTorch."""

    def bag(self, table: Array, keys: Array, starts: Array) -> Array: ...
    def drop(self, array: Array) -> Array: ...
    def turned(self, array: Array, axes: Sequence[int]) -> Array: ...
    def softmax(self, array: Array) -> Array: ...
    def bent(self, array: Array) -> Array: ...
    def even(self, array: Array, scale: Array, shift: Array) -> Array: ...


class NumpyOps:
    """For reading."""

    def bag(self, table: Array, keys: Array, starts: Array) -> Array:
        return np.add.reduceat(table[keys], starts, axis=0)

    def drop(self, array: Array) -> Array:
        return array

    def turned(self, array: Array, axes: Sequence[int]) -> Array:
        return array.transpose(axes)

    def softmax(self, array: Array) -> Array:
        """In the place of the array: memory for a new one costs more than the sums."""
        array -= array.max(-1, keepdims=True)
        np.exp(array, out=array)
        array /= array.sum(-1, keepdims=True)
        return array

    def bent(self, array: Array) -> Array:
        """GELU by its usual approximation (Hendrycks and Gimpel 2016)."""
        inner = array * array
        inner *= 0.044715 * 0.7978845608
        inner += 0.7978845608
        inner *= array
        np.tanh(inner, out=inner)
        inner += 1
        array *= 0.5
        inner *= array
        return inner

    def even(self, array: Array, scale: Array, shift: Array) -> Array:
        array = array - array.mean(-1, keepdims=True)
        spread = np.sqrt(np.einsum("...d,...d->...", array, array) / array.shape[-1] + 1e-12)
        return array / spread[..., None] * scale + shift


@dataclass(frozen=True, slots=True)
class Pieces:
    """The pieces of the n words of some notes, in w windows of l pieces."""

    rows: Array  # (w, l) of the table of pieces
    there: Array  # (w, l) whether there is such a piece
    keys: Array  # (m,) where the pieces of all words lie among the w * l
    starts: Array  # (n,) where those of each word begin
    counts: Array  # (n, 1) how many each has


def shapes(*, pieces: int, layers: int, width: int = WIDTH) -> dict[str, tuple[int, ...]]:
    """Name -> shape of every parameter."""
    inner = width * INNER // WIDTH
    found: dict[str, tuple[int, ...]] = {"encoder.pieces": (pieces, width)}
    found |= {"encoder.places": (PLACES, width), **_evens("encoder", width)}
    for at in range(layers):
        name = f"encoder{at}"
        for part, rows, columns in (("asks", 3 * width, width), ("told", width, width),
                                    ("up", inner, width), ("down", width, inner)):  # fmt: skip
            found |= {f"{name}.{part}.W": (rows, columns), f"{name}.{part}.b": (rows,)}
        found |= _evens(f"{name}.heard", width) | _evens(f"{name}.thought", width)
    return found


def _evens(name: str, width: int) -> dict[str, tuple[int, ...]]:
    return {f"{name}.g": (width,), f"{name}.n": (width,)}


def contexts(params: Params, pieces: Pieces, ops: Ops, nearness: Array | float = 0.0) -> Array:
    """(n, WIDTH): the mean over the pieces of each word. ``nearness``, (HEADS, l, l), is added to
    what pieces score for each other, for encoders that learned how much it matters."""
    rows = params["encoder.pieces"][pieces.rows]
    rows = rows + params["encoder.places"][: pieces.rows.shape[1]]
    rows = ops.drop(ops.even(rows, params["encoder.g"], params["encoder.n"]))
    absent = (~pieces.there)[:, None, None, :] * NEVER + nearness
    for at in range(_layers(params)):
        name = f"encoder{at}"
        rows = _added(params, f"{name}.heard", rows, _attend(params, name, rows, absent, ops), ops)
        rows = _added(params, f"{name}.thought", rows, _think(params, name, rows, ops), ops)
    flat = rows.reshape(-1, rows.shape[-1])
    return ops.bag(flat, pieces.keys, pieces.starts) / pieces.counts


def _layers(params: Params) -> int:
    return sum(name.endswith(".asks.W") for name in params)


def _added(params: Params, name: str, rows: Array, more: Array, ops: Ops) -> Array:
    return ops.even(rows + ops.drop(more), params[f"{name}.g"], params[f"{name}.n"])


def _attend(params: Params, name: str, rows: Array, absent: Array, ops: Ops) -> Array:
    """Each piece takes what it asks for from the pieces of its window."""
    windows, length, width = rows.shape
    asked = _linear(params, f"{name}.asks", rows).reshape(windows, length, 3, HEADS, -1)
    asks, keys, values = ops.turned(asked, (2, 0, 3, 1, 4))
    scores = (asks * (width // HEADS) ** -0.5) @ ops.turned(keys, (0, 1, 3, 2))
    scores += absent
    told = ops.drop(ops.softmax(scores)) @ values
    told = ops.turned(told, (0, 2, 1, 3)).reshape(windows, length, width)
    return _linear(params, f"{name}.told", told)


def _think(params: Params, name: str, rows: Array, ops: Ops) -> Array:
    return _linear(params, f"{name}.down", ops.bent(_linear(params, f"{name}.up", rows)))


def _linear(params: Params, name: str, rows: Array) -> Array:
    weight = params[f"{name}.W"]
    flat = rows.reshape(-1, weight.shape[1]) @ weight.T
    flat += params[f"{name}.b"]
    return flat.reshape(*rows.shape[:-1], weight.shape[0])


# ---- words -> windows ----------------------------------------------------------------------------


def pieces_in(
    notes: Sequence[Sequence[Sequence[int]]],
    breaks: Sequence[Mapping[int, int]],
    *,
    begin: int,
    end: int,
) -> Pieces:
    """For some notes, for each word the rows of its pieces -> windows. ``breaks``: of each note,
    word -> the row of a piece that stands before it and is part of no word. ``begin`` and ``end``
    are the rows of the pieces that every window begins and ends with. No word may have more than
    6."""
    rows: list[list[int]] = []
    places: list[tuple[int, int]] = []  # window and piece of each piece of each word
    for note, broken in zip(notes, breaks, strict=True):
        lengths = [len(word) + (at in broken) for at, word in enumerate(note)]
        for first, last, own, own_end in _windows(lengths):
            held = [begin]
            for at in range(first, last):
                held += [broken[at]] if at in broken else []
                if own <= at < own_end:
                    places += [(len(rows), len(held) + more) for more in range(len(note[at]))]
                held += note[at]
            rows.append([*held, end])
    return _laid_out(rows, places, counts=[len(word) for note in notes for word in note])


def _laid_out(
    rows: Sequence[Sequence[int]], places: Sequence[tuple[int, int]], *, counts: Sequence[int]
) -> Pieces:
    """Windows of unlike length as arrays; ``counts``: how many of the places each word has."""
    length = max(map(len, rows), default=0)
    there = np.array([[at < len(row) for at in range(length)] for row in rows], dtype=bool)
    return Pieces(
        rows=np.array([[*row, *[0] * (length - len(row))] for row in rows], dtype="int64"),
        there=there,
        keys=np.array([window * length + at for window, at in places], dtype="int64"),
        starts=np.array([0, *accumulate(counts)][:-1], dtype="int64"),
        counts=np.array(counts, dtype="float32")[:, None],
    )


def _windows(counts: Sequence[int]) -> Iterator[tuple[int, int, int, int]]:
    """The words of each window and of them those whose rows are taken from it: all but the MARGIN
    at an edge that is not the note's."""
    first = own = 0
    while own < len(counts):
        last, held = first, 0
        while last < len(counts) and held + counts[last] <= PLACES - 2:
            held += counts[last]
            last += 1
        own_end = last if last == len(counts) else max(own + 1, last - MARGIN)
        yield first, last, own, own_end
        first, own = max(own_end - MARGIN, first + 1), own_end
