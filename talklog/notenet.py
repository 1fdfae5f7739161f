"""The network of the trained note reader: arrays in, scores out. Knows no words.

Words are rows. Each is the sum of hashed clues and of what the pretrained encoder (``encoder``)
says of the word; maxout layers over a few neighbours and over the means of the words before and
behind mix them. From the rows come labels for
each word, and for each number its role, what it measures, which thing it belongs to, which words
say its place and which its unit. Written for arrays of NumPy, which read, and of PyTorch, which
train: ``Ops`` holds the few functions that differ.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from talklog import encoder

PIECES = 3  # of which a maxout layer takes the largest
MEANS = (8, 24)  # words on each side whose mean a word is told
STEPS = (1, 2, 3, 4, 5, 6, 8, 10, 13, 17, 22, 30, 45)  # distances within one of these are alike
REACH = 48  # words on each side among which the thing and the place of a number are sought
GAPS = 2 * (len(STEPS) + 1)
MOST = 4  # values or things between two words that are counted apart: none, 1, 2, more
PAIRS = 2 * MOST * MOST * 2  # kinds of what can lie between two words
HASHED, NUMBER_HASHED = 4096, 8192  # rows of the tables of clues

SPAN = 3  # outside, begins, inside
# What is said of each word, and how many labels it has.
WORD_HEADS = {
    "thing": SPAN,
    "state": SPAN,
    "later": SPAN,
    "number": SPAN,
    "work": 4,  # none, a verb of what is done, of what is to do, a particle of such a verb
    "part": 6,  # none, then the five fates
}
SOUGHT = ("place", "unit")  # words that numbers look for, besides their thing
ASKERS = ("number", "work", "state", "later", "part")  # who asks which thing is meant

Array = Any
Params = Mapping[str, Array]


class Ops(encoder.Ops, Protocol):
    """What is called otherwise in NumPy and in PyTorch."""

    def concat(self, arrays: Sequence[Array], axis: int) -> Array: ...
    def largest(self, array: Array) -> Array: ...
    def einsum(self, rule: str, *arrays: Array) -> Array: ...
    def zeros(self, rows: int, width: int) -> Array: ...
    def masked(self, array: Array, mask: Array) -> Array: ...


class NumpyOps(encoder.NumpyOps):
    """For reading."""

    def concat(self, arrays: Sequence[Array], axis: int) -> Array:
        return np.concatenate(arrays, axis)

    def largest(self, array: Array) -> Array:
        return array.max(1)

    def einsum(self, rule: str, *arrays: Array) -> Array:
        return np.einsum(rule, *arrays)

    def zeros(self, rows: int, width: int) -> Array:
        return np.zeros((rows, width), dtype="float32")

    def masked(self, array: Array, mask: Array) -> Array:
        return np.where(mask, array, np.float32(-1e4))


@dataclass(frozen=True, slots=True)
class Words:
    """The words of some notes one after another, n rows. Row n stands for no word."""

    pieces: encoder.Pieces
    clues: Array  # (m,) keys of all clues
    starts: Array  # (n,) where the clues of each word begin
    wide: Array  # (n, 5) rows of the neighbours
    close: Array  # (n, 3)
    means: Array  # (2, len(MEANS), 2, n) first row and row after the last, before and behind


@dataclass(frozen=True, slots=True)
class Asking:
    """k numbers or words that ask for the thing they belong to."""

    rows: Array  # (k,) their first rows
    window: Array  # (k, 2 * REACH + 1) rows among which they choose
    there: Array  # (k, 2 * REACH + 1) whether such a word exists
    pairs: Array  # (k, 2 * REACH + 1) what lies between, 0 .. PAIRS - 1


@dataclass(frozen=True, slots=True)
class Numbers:
    """k numbers: their words and their clues."""

    asking: Asking
    sides: Array  # (k, 4) rows: first word, last word, the word before, the word behind its unit
    clues: Array
    starts: Array


def shapes(
    *,
    width: int,
    depth: int,
    layers: int,
    pieces: int,
    roles: int,
    quantities: int,
    encoder_width: int = encoder.WIDTH,
) -> dict[str, Any]:
    """Name -> shape of every parameter, those of the encoder too."""
    heads = {**WORD_HEADS, "role": roles, "quantity": quantities}
    return {
        **encoder.shapes(pieces=pieces, layers=layers, width=encoder_width),
        "context.W": (width, encoder_width),
        "clues": (HASHED, width),
        "number_clues": (NUMBER_HASHED, width),
        "role_clues": (NUMBER_HASHED, roles),
        **_shapes_of_mixing(width, depth),
        **_shapes_of_labels(width, heads),
        **_shapes_of_asking(width),
    }


def _shapes_of_mixing(width: int, depth: int) -> dict[str, Any]:
    """Of the layers that tell each word what stands around it."""
    means = len(MEANS) * 2 + 1
    found = {**_maxout("mix", width, width), **_maxout("means", width * means, width),
             **_maxout("whole", width * 5, width)}  # fmt: skip
    for at in range(depth):
        found |= _maxout(f"wide{at}", width * 5, width) | _maxout(f"close{at}", width * 3, width)
    return found


def _shapes_of_labels(width: int, heads: Mapping[str, int]) -> dict[str, Any]:
    """Of what scores labels; ``heads``: how many labels each has."""
    found: dict[str, Any] = {}
    for name, labels in heads.items():
        found |= _linear_shapes(name, width, labels)
    return found


def _shapes_of_asking(width: int) -> dict[str, Any]:
    """Of what chooses, for a word or number, another word: its thing, its place, its unit."""
    half = width // 2
    found: dict[str, Any] = {}
    for name in ASKERS:
        found |= {f"{name}_asks.W": (half, width), f"{name}_gap.b": (GAPS,)}
        found[f"{name}_pair.b"] = (PAIRS,)
        found |= _linear_shapes(f"{name}_none", width, 1)
    found |= {"thing_key.W": (half, width), "thing_own.W": (1, width)}
    for name in SOUGHT:
        found |= {f"{name}_asks.W": (half, width), f"{name}_key.W": (half, width)}
        found |= {f"{name}_own.W": (1, width), f"{name}_gap.b": (GAPS,), f"{name}_pair.b": (PAIRS,)}
    return found | _linear_shapes("unit_none", width, 1)


def _linear_shapes(name: str, inputs: int, outputs: int) -> dict[str, Any]:
    return {f"{name}.W": (outputs, inputs), f"{name}.b": (outputs,)}


def _maxout(name: str, inputs: int, outputs: int) -> dict[str, Any]:
    wide = outputs * PIECES
    return {f"{name}.W": (wide, inputs), f"{name}.b": (wide,), f"{name}.g": (outputs,),
            f"{name}.n": (outputs,)}  # fmt: skip


# ---- forward -------------------------------------------------------------------------------------


def encode(params: Params, words: Words, ops: Ops) -> Array:
    """(n + 1, width): the words in their surroundings; the last row is zero."""
    rows = encoder.contexts(params, words.pieces, ops) @ params["context.W"].T
    return mixed(params, rows, words, ops)


def mixed(params: Params, contexts: Array, words: Words, ops: Ops) -> Array:
    """The same from what the encoder said, (n, width)."""
    rows = contexts + ops.bag(params["clues"], words.clues, words.starts)
    none = ops.zeros(1, rows.shape[1])
    rows = ops.drop(_layer(params, "mix", rows, ops))
    for at in range(_depth(params)):
        rows = rows + _over(params, f"wide{at}", rows, words.wide, none, ops)
    rows = rows + ops.drop(_layer(params, "means", _means(rows, words, none, ops), ops))
    for at in range(_depth(params)):
        rows = rows + _over(params, f"close{at}", rows, words.close, none, ops)
    return ops.concat([rows, none], 0)


def _depth(params: Params) -> int:
    return sum(name.startswith("wide") and name.endswith(".W") for name in params)


def _layer(params: Params, name: str, rows: Array, ops: Ops) -> Array:
    """Maxout, then each row brought to mean 0 and spread 1."""
    out = rows @ params[f"{name}.W"].T + params[f"{name}.b"]
    out = ops.largest(out.reshape(len(rows), PIECES, -1))
    out = out - out.mean(-1, keepdims=True)
    out = out / ((out * out).mean(-1, keepdims=True) + 1e-5) ** 0.5
    return out * params[f"{name}.g"] + params[f"{name}.n"]


def _over(params: Params, name: str, rows: Array, near: Array, none: Array, ops: Ops) -> Array:
    padded = ops.concat([rows, none], 0)
    return ops.drop(_layer(params, name, padded[near].reshape(len(rows), -1), ops))


def _means(rows: Array, words: Words, none: Array, ops: Ops) -> Array:
    sums = ops.concat([none, rows], 0).cumsum(0)
    parts = [rows]
    for at, reach in enumerate(MEANS):
        for side in (0, 1):
            parts.append((sums[words.means[1, at, side]] - sums[words.means[0, at, side]]) / reach)
    return ops.concat(parts, -1)


def label_words(params: Params, rows: Array) -> dict[str, Array]:
    """The scores of the labels of each word, (n, labels) for each of WORD_HEADS."""
    own = rows[:-1]
    return {name: _linear(params, name, own) for name in WORD_HEADS}


def _linear(params: Params, name: str, rows: Array) -> Array:
    return rows @ params[f"{name}.W"].T + params[f"{name}.b"]


def describe_numbers(params: Params, rows: Array, numbers: Numbers, ops: Ops) -> dict[str, Array]:
    """For k numbers the scores of their "role" (k, roles), "quantity" (k, quantities), "thing" (k,
    window + 1; the last for none), "unit" (the same) and "place" (k, window; above 0 where a word
    says the place)."""
    sides = rows[numbers.sides].reshape(len(numbers.sides), -1)
    clues = ops.bag(params["number_clues"], numbers.clues, numbers.starts)
    own = ops.drop(_layer(params, "whole", ops.concat([sides, clues], -1), ops))
    extra = ops.bag(params["role_clues"], numbers.clues, numbers.starts)
    asked = {name: own @ params[f"{name}_asks.W"].T for name in SOUGHT}
    sought = {
        name: ops.masked(
            _scores(params, name, rows, numbers.asking, asked[name], ops), numbers.asking.there
        )
        for name in SOUGHT
    }
    return {
        "role": _linear(params, "role", own) + extra,
        "quantity": _linear(params, "quantity", own),
        "thing": _thing(params, "number", rows, numbers.asking, own, ops),
        "place": sought["place"],
        "unit": ops.concat([sought["unit"], _linear(params, "unit_none", own)], -1),
    }


def choose_things(params: Params, name: str, rows: Array, asking: Asking, ops: Ops) -> Array:
    """(k, window + 1): which word is the thing that k words of the kind ``name`` are about."""
    return _thing(params, name, rows, asking, rows[asking.rows], ops)


def _thing(params: Params, name: str, rows: Array, asking: Asking, own: Array, ops: Ops) -> Array:
    asked = own @ params[f"{name}_asks.W"].T
    scores = _scores(params, "thing", rows, asking, asked, ops, biased=name)
    none = _linear(params, f"{name}_none", own)
    return ops.concat([ops.masked(scores, asking.there), none], -1)


def _scores(
    params: Params,
    name: str,
    rows: Array,
    asking: Asking,
    asked: Array,
    ops: Ops,
    *,
    biased: str = "",
) -> Array:
    keys = rows @ params[f"{name}_key.W"].T
    own = (rows @ params[f"{name}_own.W"].T)[:, 0]
    met = ops.einsum("kd,kwd->kw", asked, keys[asking.window]) / asked.shape[1] ** 0.5
    far = params[f"{biased or name}_gap.b"][_GAP_OF][None]
    return met + own[asking.window] + far + params[f"{biased or name}_pair.b"][asking.pairs]


def _gap_of() -> np.ndarray:
    """For each place of a window the row of its distance."""
    away = np.arange(-REACH, REACH + 1)
    steps = np.searchsorted(STEPS, np.abs(away))
    return np.where(away < 0, steps, steps + len(STEPS) + 1)


_GAP_OF = _gap_of()
