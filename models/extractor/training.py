"""What the network learns from: notes as arrays, what is hidden from it, and the loss.

PyTorch makes the gradients of the functions of ``talklog.notenet`` and ``talklog.encoder``, which
the program calls with NumPy. See ``train`` for the loop.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from itertools import chain
from typing import Any

import numpy as np
import torch
import torch.nn.functional as functional

from talklog import encoder, notenet
from talklog.notearrays import (
    UNTOLD,
    KeyedNote,
    NoteClues,
    bounds,
    keyed,
    lying_in,
    numbers_of,
    words_of,
)
from talklog.notenet import ASKERS, REACH, WORD_HEADS, Asking, Numbers, Words
from talklog.noterows import asking_at
from talklog.packed import FEW, MANY, rounded
from talklog.wordpieces import UNKNOWN

NOTHING = -1  # the label of what the annotator said nothing of
# How much each part of the task counts in the loss.
LOSS = {
    "thing": 2.0, "state": 2.0, "later": 1.0, "number": 1.0, "work": 2.0,
    "part": 1.5, "role": 1.0, "quantity": 0.7, "place": 2.0,
    "unit": 1.0, "number asks": 1.5, "work asks": 0.8, "state asks": 0.6, "later asks": 0.2,
    "part asks": 0.4,
}  # fmt: skip
HIDDEN_NUMBERS = 2.5  # clues of numbers, of which each has many, are hidden more often by this
FAR_BELOW = -3.0  # first score of a word to say a place: few do


class EncoderOps:
    """``encoder.Ops`` for training, with dropout."""

    def __init__(self, drop: float) -> None:
        self.share = drop

    def bag(self, table: Any, keys: Any, starts: Any) -> Any:
        return functional.embedding_bag(keys, table, starts, mode="sum")

    def drop(self, array: Any) -> Any:
        return functional.dropout(array, self.share)

    def turned(self, array: Any, axes: Sequence[int]) -> Any:
        return array.permute(*axes)

    def softmax(self, array: Any) -> Any:
        return array.softmax(-1)

    def bent(self, array: Any) -> Any:
        return functional.gelu(array, approximate="tanh")

    def even(self, array: Any, scale: Any, shift: Any) -> Any:
        return functional.layer_norm(array, scale.shape, scale, shift, 1e-12)


class TorchOps(EncoderOps):
    """``notenet.Ops`` for training, with dropout."""

    def concat(self, arrays: Sequence[Any], axis: int) -> Any:
        return torch.cat(list(arrays), axis)

    def largest(self, array: Any) -> Any:
        return array.amax(1)

    def einsum(self, rule: str, *arrays: Any) -> Any:
        return torch.einsum(rule, *arrays)

    def zeros(self, rows: int, width: int) -> Any:
        return torch.zeros(rows, width, device=self.device)

    def masked(self, array: Any, mask: Any) -> Any:
        return torch.where(mask, array, encoder.NEVER)

    def __init__(self, drop: float, device: Any = "cpu") -> None:
        super().__init__(drop)
        self.device = device


# ---- parameters ----------------------------------------------------------------------------------


def first_weights(shapes: Mapping[str, tuple[int, ...]], *, seed: int) -> dict[str, np.ndarray]:
    """Small random weights; those of the encoder come from elsewhere."""
    draw = np.random.default_rng(seed)
    return {name: _first(name, shape, draw) for name, shape in shapes.items()}


def _first(name: str, shape: tuple[int, ...], draw: np.random.Generator) -> np.ndarray:
    if name.endswith(".g"):
        return np.ones(shape, dtype="float32")
    if name == "place_gap.b":
        return np.full(shape, FAR_BELOW, dtype="float32")
    if name.endswith((".b", ".n")) or name == "role_clues":
        return np.zeros(shape, dtype="float32")
    spread = {"clues": 0.1, "number_clues": 0.03}.get(name, shape[-1] ** -0.5 / 1.7)
    return draw.normal(0, spread, shape).astype("float32")


def bits_of(params: Mapping[str, Any], few: int = FEW) -> dict[str, int]:
    """How many bits the matrices are kept in; ``few``: those of the encoder."""
    return {name: few if name.startswith("encoder") else MANY
            for name, param in params.items() if param.ndim == 2}  # fmt: skip


def as_kept(params: Mapping[str, Any], few: int = FEW) -> dict[str, Any]:
    """The parameters as they will be read, rounded; the gradient passes through."""
    bits = bits_of(params, few)
    return {name: _kept(param, bits[name]) if name in bits else param
            for name, param in params.items()}  # fmt: skip


def _kept(param: Any, bits: int) -> Any:
    with torch.no_grad():
        scale, whole = rounded(param, bits)
        change = (scale * whole).reshape(param.shape) - param
    return param + change


# ---- batches -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Lesson:
    """A note with what should be said of it, see ``gold.gold_of``. ``weight`` is what it counts; a
    generated note counts less and has only roles."""

    note: KeyedNote
    gold: Mapping[str, Any]
    weight: float | None


@dataclass(frozen=True, slots=True)
class Batch:
    """Arrays of some notes. The rows of what is asked and of what is right belong together."""

    words: Words
    numbers: Numbers | None
    labels: dict[str, Any]  # (n,) for each of WORD_HEADS; empty for generated notes
    asks: dict[str, tuple[Asking, Any]]  # of work, state, later: which word is right
    roles: Any  # (k,)
    quantities: Any  # (k,)
    owners: tuple[Any, Any]  # numbers whose thing is known, and which word is right
    places: tuple[Any, Any]  # numbers whose place is known, and which words say it
    units: tuple[Any, Any]  # numbers whose unit is known, and which word says it
    weight: float


def lesson_of(stored: Mapping[str, Any], table: Mapping[str, int]) -> Lesson:
    """From a line that ``prepare`` wrote."""
    clues = {field.name: stored[field.name] for field in fields(NoteClues)}
    return Lesson(keyed(NoteClues(**clues), table), stored["gold"], stored["weight"])


def batch_of(
    lessons: Sequence[Lesson],
    table: Mapping[str, int],
    *,
    hidden: float = 0.0,
    chance: random.Random | None = None,
) -> Batch:
    """All notes must be written or all generated. ``hidden``: share of clues that are not told."""
    if chance is not None and hidden:
        notes = [_hidden(lesson.note, hidden, table[UNKNOWN], chance) for lesson in lessons]
    else:
        notes = [lesson.note for lesson in lessons]
    golds = [lesson.gold for lesson in lessons]
    whole = lessons[0].weight is None
    return Batch(
        words=words_of(notes, table),
        numbers=numbers_of(notes) if any(note.numbers for note in notes) else None,
        labels={name: _chained(gold["words"][name] for gold in golds)
                for name in WORD_HEADS if whole},
        asks=dict(_asks(golds, notes)) if whole else {},
        roles=_chained(gold["roles"] for gold in golds),
        quantities=_chained(gold["quantities"] for gold in golds) if whole else _chained(()),
        owners=_owners(golds, notes) if whole else _nothing(2 * REACH + 2),
        places=_places(golds) if whole else _nothing(2 * REACH + 1),
        units=_units(golds) if whole else _nothing(2 * REACH + 2),
        weight=1.0 if whole else float(lessons[0].weight or 0),
    )  # fmt: skip


def _hidden(note: KeyedNote, share: float, unknown: int, chance: random.Random) -> KeyedNote:
    """A note of which some clues and a few words are not told."""
    keep = lambda: chance.random() >= share  # noqa: E731
    many = lambda: chance.random() >= min(0.9, share * HIDDEN_NUMBERS)  # noqa: E731
    return replace(
        note,
        pieces=[own if chance.random() >= share / 3 else [unknown] for own in note.pieces],
        clues=[[key for key in own if keep()] or [UNTOLD] for own in note.clues],
        number_clues=[[key for key in own if many()] or own[:1] for own in note.number_clues],
    )


def _chained(lists: Any) -> np.ndarray:
    return np.array(list(chain.from_iterable(lists)), dtype="int64")


def _nothing(width: int) -> tuple[np.ndarray, np.ndarray]:
    return np.zeros(0, dtype="int64"), np.zeros((0, width), dtype="float32")


def _asks(
    golds: Sequence[Mapping[str, Any]], notes: Sequence[KeyedNote]
) -> Iterator[tuple[str, tuple[Asking, np.ndarray]]]:
    starts, ends = bounds([len(note.clues) for note in notes])
    for name in ASKERS[1:]:
        asks = [(start + at, [start + thing for thing in things])
                for gold, start in zip(golds, starts, strict=True)
                for kind, at, things in gold["asks"]
                if kind == name and things is not None]  # fmt: skip
        if asks:
            asking = asking_at([at for at, _ in asks], starts, ends, lying_in(notes))
            yield name, (asking, _right(asks))


def _right(asks: Sequence[tuple[int, Sequence[int]]]) -> np.ndarray:
    """(k, 2 * REACH + 2): 1 for the words that are right, the last for none."""
    right = np.zeros((len(asks), 2 * REACH + 2), dtype="float32")
    for row, (at, things) in enumerate(asks):
        inside = _inside(at, things)
        right[row, inside if inside else [-1]] = 1
    return right


def _inside(at: int, words: Sequence[int]) -> list[int]:
    away = [word - at + REACH for word in words]
    return [place for place in away if 0 <= place <= 2 * REACH]


def _owners(
    golds: Sequence[Mapping[str, Any]], notes: Sequence[KeyedNote]
) -> tuple[np.ndarray, np.ndarray]:
    starts, _ = bounds([len(note.clues) for note in notes])
    asks = [(start + at, things and [start + thing for thing in things])
            for gold, start in zip(golds, starts, strict=True)
            for kind, at, things in gold["asks"] if kind == "number"]  # fmt: skip
    known = [row for row, (_, things) in enumerate(asks) if things is not None]
    return np.array(known, dtype="int64"), _right([asks[row] for row in known])


def _places(golds: Sequence[Mapping[str, Any]]) -> tuple[np.ndarray, np.ndarray]:
    places = list(chain.from_iterable(gold["places"] for gold in golds))
    firsts = [at for gold in golds for kind, at, _ in gold["asks"] if kind == "number"]
    known = [row for row, place in enumerate(places) if place is not None]
    right = np.zeros((len(known), 2 * REACH + 1), dtype="float32")
    for row, number in enumerate(known):
        right[row, _inside(firsts[number], places[number])] = 1
    return np.array(known, dtype="int64"), right


def _units(golds: Sequence[Mapping[str, Any]]) -> tuple[np.ndarray, np.ndarray]:
    units = list(chain.from_iterable(gold["units"] for gold in golds))
    firsts = [at for gold in golds for kind, at, _ in gold["asks"] if kind == "number"]
    known = [row for row, unit in enumerate(units) if unit is not None]
    return np.array(known, dtype="int64"), _right([(firsts[row], units[row]) for row in known])


def torched(value: Any, device: Any = "cpu") -> Any:
    """The same with tensors on a device."""
    if isinstance(value, np.ndarray):
        return torch.as_tensor(value).to(device, non_blocking=True)
    if isinstance(value, dict):
        return {name: torched(own, device) for name, own in value.items()}
    if isinstance(value, tuple):
        return tuple(torched(own, device) for own in value)
    if is_dataclass(value):
        own = {f.name: torched(getattr(value, f.name), device) for f in fields(value)}
        return type(value)(**own)
    return value


# ---- loss ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Drops:
    """Shares of units that are dropped: of the network, the encoder, and what the encoder says."""

    net: float = 0.0
    encoder: float = 0.0
    context: float = 0.0


@dataclass(frozen=True, slots=True)
class Scores:
    """What a network says of a batch."""

    words: Mapping[str, Any]  # (n, labels) for each of WORD_HEADS
    asks: Mapping[str, Any]  # (k, 2 * REACH + 2) of work, state, later, part
    numbers: Mapping[str, Any]  # see notenet.describe_numbers; empty without numbers


def scores_of(params: Mapping[str, Any], batch: Batch, drops: Drops) -> Scores:
    """A batch of tensors -> what the network with these parameters says."""
    ops = TorchOps(drops.net, batch.words.clues.device)
    rows = _rows(params, batch, drops, ops)
    return Scores(
        notenet.label_words(params, rows),
        {name: notenet.choose_things(params, name, rows, asking, ops)
         for name, (asking, _) in batch.asks.items()},
        notenet.describe_numbers(params, rows, batch.numbers, ops) if batch.numbers else {},
    )  # fmt: skip


def _rows(params: Mapping[str, Any], batch: Batch, drops: Drops, ops: TorchOps) -> Any:
    device, pieces = batch.words.clues.device, batch.words.pieces
    near = nearness(params[NEAR], pieces.rows.shape[1]) if NEAR in params else 0.0
    with torch.autocast(device.type, dtype=torch.bfloat16, enabled=device.type == "cuda"):
        said = encoder.contexts(params, pieces, EncoderOps(drops.encoder), near)
    said = functional.dropout(said.float(), drops.context)
    return notenet.mixed(params, said @ params["context.W"].T, batch.words, ops)


def labelled_loss(scores: Scores, batch: Batch) -> Any:
    """How far scores are from the annotations."""
    return batch.weight * sum(LOSS[name] * part for name, part in _parts(scores, batch))


def _parts(scores: Scores, batch: Batch) -> Iterator[tuple[str, Any]]:
    for name, labels in batch.labels.items():
        yield name, functional.cross_entropy(scores.words[name], labels)
    for name, (_, right) in batch.asks.items():
        yield f"{name} asks", _choice(scores.asks[name], right)
    if scores.numbers:
        yield from _number_parts(scores.numbers, batch)


def _number_parts(told: Mapping[str, Any], batch: Batch) -> Iterator[tuple[str, Any]]:
    for name, wanted in (("role", batch.roles), ("quantity", batch.quantities)):
        if len(wanted) and (wanted >= 0).any():
            yield name, functional.cross_entropy(told[name], wanted, ignore_index=NOTHING)
    known, right = batch.owners
    if len(known):
        yield "number asks", _choice(told["thing"][known], right)
    known, right = batch.units
    if len(known):
        yield "unit", _choice(told["unit"][known], right)
    known, right = batch.places
    if len(known):
        yield "place", _each(told["place"][known], right)


def _choice(scores: Any, right: Any) -> Any:
    """- log of the probability that one of the right words is chosen."""
    return -(scores.log_softmax(-1) + (right + 1e-9).log()).logsumexp(-1).mean()


def _each(scores: Any, right: Any) -> Any:
    """For each number - log of the probability that each word is rightly taken or left."""
    each = functional.binary_cross_entropy_with_logits(scores, right, reduction="none")
    return torch.where(scores > encoder.NEVER / 2, each, 0.0).sum() / len(scores)


# ---- a teacher -----------------------------------------------------------------------------------

NEAR = "encoder.near"  # (NEARS, HEADS) what an encoder with relative places adds, see ``nearness``
NEARS, NEAR_SURELY, NEAR_AT_ALL = 32, 8, 128


def nearness(weights: Any, length: int) -> Any:
    """(HEADS, length, length): what each head adds for how far a piece lies behind or before, in
    classes that widen with the distance (T5: Raffel and others 2020, as in MPNet: Song and others
    2020)."""
    at = torch.arange(length, device=weights.device)
    ahead = at[None] - at[:, None]
    far = ahead.abs()
    half = NEARS // 2
    widening = (far.clamp(min=1) / NEAR_SURELY).log() / np.log(NEAR_AT_ALL / NEAR_SURELY)
    wide = NEAR_SURELY + (widening * (half - NEAR_SURELY)).long()
    class_ = torch.where(far < NEAR_SURELY, far, wide.clamp(max=half - 1)) + half * (ahead > 0)
    return weights[class_].permute(2, 0, 1)


def likeness_loss(scores: Scores, told: Scores) -> Any:
    """How far scores are from what a teacher told of the same batch (Hinton and others 2015)."""
    return sum(LOSS[name] * part for name, part in _unlike(scores, told))


def _unlike(scores: Scores, told: Scores) -> Iterator[tuple[str, Any]]:
    for name, own in scores.words.items():
        yield name, functional.cross_entropy(own, told.words[name].softmax(-1))
    for name, own in scores.asks.items():
        yield f"{name} asks", functional.cross_entropy(own, told.asks[name].softmax(-1))
    for name, own in scores.numbers.items():
        if name == "place":
            yield name, _each(own, told.numbers[name].sigmoid())
        else:
            of_all = functional.cross_entropy(own, told.numbers[name].softmax(-1))
            yield {"thing": "number asks"}.get(name, name), of_all


# ---- figures -------------------------------------------------------------------------------------


@torch.no_grad()
def figures(params: Mapping[str, Any], batches: Sequence[Batch]) -> dict[str, float]:
    """Shares of right roles, quantities and things of numbers, F1 of the labels of words and of
    the words of places. Batches of tensors, of written notes."""
    tally: dict[str, list[float]] = {}
    for batch in batches:
        for name, right, all_ in _counted(params, batch):
            held = tally.setdefault(name, [0.0, 0.0])
            held[0] += float(right)
            held[1] += float(all_)
    return {name: round(right / max(all_, 1), 3) for name, (right, all_) in tally.items()}


def _counted(params: Mapping[str, Any], batch: Batch) -> Iterator[tuple[str, Any, Any]]:
    scores = scores_of(params, batch, Drops())
    for name, wanted in batch.labels.items():
        best = scores.words[name].argmax(-1)
        both = 2 * ((wanted == best) & (wanted > 0)).sum()
        yield name, both, (wanted > 0).sum() + (best > 0).sum()
    for name, (_, right) in batch.asks.items():
        yield f"{name} asks", *_chosen(scores.asks[name], right)
    if scores.numbers:
        yield from _counted_numbers(scores.numbers, batch)


def _counted_numbers(told: Mapping[str, Any], batch: Batch) -> Iterator[tuple[str, Any, Any]]:
    for name, wanted in (("role", batch.roles), ("quantity", batch.quantities)):
        known = wanted >= 0
        yield name, (told[name].argmax(-1) == wanted)[known].sum(), known.sum()
    known, right = batch.owners
    yield "owner", *_chosen(told["thing"][known], right)
    known, right = batch.units
    yield "unit", *_chosen(told["unit"][known], right)
    known, right = batch.places
    said = (told["place"][known] > 0).float()
    yield "place", 2 * (said * right).sum(), said.sum() + right.sum()


def _chosen(scores: Any, right: Any) -> tuple[Any, int]:
    best = scores.argmax(-1)
    return right.gather(1, best[:, None]).sum(), len(right)
