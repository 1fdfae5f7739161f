"""The note reader with what it takes to train it: PyTorch makes the gradients.

``spacy train --code`` loads this module; the program only reads (see ``talklog.notereader``).
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
import spacy
import torch
import torch.nn.functional as functional
from spacy.language import Language
from spacy.tokens import Doc, DocBin
from spacy.training import Example

from models.extractor.gold import NOTHING
from talklog.notenet import (
    ASKERS,
    REACH,
    WORD_HEADS,
    Asking,
    asking_at,
    choose_things,
    describe_numbers,
    encode,
    label_words,
)
from talklog.notereader import (
    GOLD,
    LIKELY,
    NOTE,
    Likely,
    NoteClues,
    NoteReader,
    bounds,
    lying_in,
    note_of,
    numbers_of,
    words_of,
)

torch.set_num_threads(1)  # small arrays: more threads only wait for each other

WEIGHT = "weight"  # key of Doc.user_data: what a generated note counts
# How much each part of the task counts in the loss.
LOSS = {
    "thing": 2.0, "state": 2.0, "later": 1.0, "number": 1.0, "work": 2.0,
    "part": 1.5, "role": 1.0, "quantity": 0.7, "place": 1.0,
    "number asks": 1.5, "work asks": 0.8, "state asks": 0.6, "later asks": 0.2,
}  # fmt: skip
HIDDEN = 2.0  # words are hidden more often than clues by this, vectors
HIDDEN_VECTORS = 0.4  # less often by this
HIDDEN_NUMBERS = 2.5  # clues of numbers, of which each has many
FAR_BELOW = -3.0  # first score of a word to say a place: few do


class TorchOps:
    """``notenet.Ops`` for training, with dropout."""

    def __init__(self, drop: float) -> None:
        self.share = drop

    def bag(self, table: Any, keys: Any, starts: Any) -> Any:
        return functional.embedding_bag(keys, table, starts, mode="sum")

    def concat(self, arrays: Sequence[Any], axis: int) -> Any:
        return torch.cat(list(arrays), axis)

    def largest(self, array: Any) -> Any:
        return array.amax(1)

    def einsum(self, rule: str, *arrays: Any) -> Any:
        return torch.einsum(rule, *arrays)

    def drop(self, array: Any) -> Any:
        return functional.dropout(array, self.share)

    def zeros(self, rows: int, width: int) -> Any:
        return torch.zeros(rows, width)

    def masked(self, array: Any, mask: Any) -> Any:
        return torch.where(mask, array, torch.tensor(-1e4))


class TrainedNoteReader(NoteReader):
    """A note reader that learns."""

    chance = random.Random(1)

    def initialize(
        self,
        get_examples: Callable[[], Iterable[Example]],
        *,
        nlp: Language | None = None,
        vectors: str = "",
        least: int = 2,
    ) -> None:
        """Learns which words are known, those in ``least`` notes or more; sets small weights."""
        self.read_vectors(Path(vectors))
        counts: dict[str, int] = {}
        for example in get_examples():
            for word in {word[0] for word in example.reference.user_data[NOTE]["words"]}:
                counts[word] = counts.get(word, 0) + 1
        self.cfg["known"] = sorted(word for word, count in counts.items() if count >= least)
        draw = np.random.default_rng(1)
        for name, shape in self.shapes().items():
            self.model.set_param(name, _first(name, shape, draw))
        self.forget()

    def update(
        self,
        examples: Iterable[Example],
        *,
        drop: float = 0.0,
        sgd: Any = None,
        losses: dict[str, float] | None = None,
    ) -> dict[str, float]:
        """One step. ``drop`` is the share of units and half the share of clues that are hidden."""
        losses = losses if losses is not None else {}
        docs = [example.reference for example in examples]
        params = {name: torch.tensor(self.model.get_param(name), requires_grad=True)
                  for name in self.model.param_names}  # fmt: skip
        loss = self._loss({**params, "vectors": torch.tensor(self.vectors)}, docs, drop)
        loss.backward()
        for name, param in params.items():
            if param.grad is not None:
                self.model.inc_grad(name, param.grad.numpy())
        if sgd is not None:
            self.finish_update(sgd)
        self.forget()
        losses[self.name] = losses.get(self.name, 0.0) + float(loss.detach())
        return losses

    def _loss(self, params: dict[str, Any], docs: Sequence[Doc], drop: float) -> Any:
        """Of written notes all parts, of generated ones the roles of their numbers."""
        written = [doc for doc in docs if WEIGHT not in doc.user_data]
        made = [doc for doc in docs if WEIGHT in doc.user_data]
        total = torch.tensor(0.0)
        for some, whole in ((written, True), (made, False)):
            if some:
                parts = dict(self._parts(params, some, drop, whole=whole))
                weight = 1.0 if whole else some[0].user_data[WEIGHT]
                total = total + weight * sum(LOSS[name] * part for name, part in parts.items())
        return total

    def _parts(self, params: Any, docs: Sequence[Doc], drop: float, *, whole: bool) -> Any:
        notes = [self._hidden(note_of(doc), drop / 2) for doc in docs]
        golds = [doc.user_data[GOLD] for doc in docs]
        ops = TorchOps(drop)
        rows = encode(params, self._words(notes, drop / 2), ops)
        if whole:
            yield from _word_parts(label_words(params, rows), golds)
            yield from _ask_parts(params, rows, golds, notes, ops)
        if any(note.numbers for note in notes):
            told = describe_numbers(params, rows, torched(numbers_of(notes)), ops)
            starts, _ = bounds([len(note.words) for note in notes])
            yield from _number_parts(told, golds, starts, whole=whole)

    def _hidden(self, note: NoteClues, share: float) -> NoteClues:
        """A note of which some clues are not told."""
        keep = lambda: self.chance.random() >= share  # noqa: E731
        words = [[w[0] if self.chance.random() >= HIDDEN * share else "", *filter(
            lambda _: keep(), w[1:])] for w in note.words]  # fmt: skip
        clues = [[c for c in own if self.chance.random() >= HIDDEN_NUMBERS * share] or own[:1]
                 for own in note.number_clues]  # fmt: skip
        return NoteClues(note.said, words, note.numbers, clues, note.landmarks)

    def _words(self, notes: Sequence[NoteClues], share: float) -> Any:
        words = torched(words_of(notes, self.tables))
        hide = torch.rand(len(words.vector)) < share * HIDDEN_VECTORS
        return type(words)(**{f.name: getattr(words, f.name) for f in fields(words)}
                           | {"vector": torch.where(hide, 0, words.vector)})  # fmt: skip

    def score(self, examples: Iterable[Example], **_: Any) -> dict[str, float]:
        """Shares of right roles, quantities and things of numbers, F1 of the labels of words."""
        return _figures([(e.reference.user_data[GOLD], e.predicted.user_data[LIKELY])
                         for e in examples])  # fmt: skip


@Language.factory("note_reader", default_config={"sizes": {"width": 96, "depth": 2}})
def make_note_reader(nlp: Language, name: str, sizes: dict[str, int]) -> TrainedNoteReader:
    """``sizes``: see ``notenet.shapes``."""
    reader = TrainedNoteReader(nlp.vocab, name=name)
    reader.cfg["sizes"] = sizes
    return reader


def torched(arrays: Any) -> Any:
    """The same with tensors."""
    values = {}
    for entry in fields(arrays):
        value = getattr(arrays, entry.name)
        values[entry.name] = torched(value) if isinstance(value, Asking) else torch.as_tensor(value)
    return type(arrays)(**values)


def _first(name: str, shape: tuple[int, ...], draw: np.random.Generator) -> np.ndarray:
    if name.endswith(".g"):
        return np.ones(shape, dtype="float32")
    if name == "place_gap.b":
        return np.full(shape, FAR_BELOW, dtype="float32")
    if name.endswith((".b", ".n")) or name == "role_clues":
        return np.zeros(shape, dtype="float32")
    spread = {"words": 0.1, "clues": 0.1, "number_clues": 0.03}.get(name, shape[-1] ** -0.5 / 1.7)
    return draw.normal(0, spread, shape).astype("float32")


# ---- the parts of the loss -----------------------------------------------------------------------


def _word_parts(scores: dict[str, Any], golds: Sequence[dict[str, Any]]) -> Any:
    for name in WORD_HEADS:
        wanted = torch.tensor(list(chain.from_iterable(gold["words"][name] for gold in golds)))
        yield name, functional.cross_entropy(scores[name], wanted)


def _ask_parts(
    params: Any, rows: Any, golds: Any, notes: Sequence[NoteClues], ops: TorchOps
) -> Any:
    starts, ends = bounds([len(note.words) for note in notes])
    for name in ASKERS[1:]:
        asks = [(start + at, [start + thing for thing in things])
                for gold, start in zip(golds, starts, strict=True)
                for kind, at, things in gold["asks"]
                if kind == name and things is not None]  # fmt: skip
        if asks:
            asking = torched(asking_at([at for at, _ in asks], starts, ends, lying_in(notes)))
            scores = choose_things(params, name, rows, asking, ops)
            yield f"{name} asks", _choice(scores, asks)


def _choice(scores: Any, asks: Sequence[tuple[int, Sequence[int]]]) -> Any:
    """- log of the probability that one of the right words is chosen."""
    right = torch.zeros_like(scores)
    for row, (at, things) in enumerate(asks):
        away = [thing - at + REACH for thing in things]
        inside = [place for place in away if 0 <= place <= 2 * REACH]
        right[row, inside if inside else [-1]] = 1
    chances = scores.log_softmax(-1)
    return -(chances + (right + 1e-9).log()).logsumexp(-1).mean()


def _number_parts(told: dict[str, Any], golds: Any, starts: Any, *, whole: bool) -> Any:
    roles = torch.tensor(list(chain.from_iterable(gold["roles"] for gold in golds)))
    if (roles >= 0).any():
        yield "role", functional.cross_entropy(told["role"], roles, ignore_index=NOTHING)
    if not whole:
        return
    wanted = torch.tensor(list(chain.from_iterable(gold["quantities"] for gold in golds)))
    if (wanted >= 0).any():
        yield "quantity", functional.cross_entropy(told["quantity"], wanted, ignore_index=NOTHING)
    asks = [(start + at, things and [start + thing for thing in things])
            for gold, start in zip(golds, starts, strict=True)
            for kind, at, things in gold["asks"] if kind == "number"]  # fmt: skip
    known = [row for row, (_, things) in enumerate(asks) if things is not None]
    if known:
        yield "number asks", _choice(told["thing"][known], [asks[row] for row in known])
    yield from _place_part(told["place"], golds)


def _place_part(scores: Any, golds: Any) -> Any:
    places = list(chain.from_iterable(gold["places"] for gold in golds))
    firsts = [at for gold in golds for kind, at, _ in gold["asks"] if kind == "number"]
    known = [row for row, place in enumerate(places) if place is not None]
    if not known:
        return
    right = torch.zeros(len(known), scores.shape[1])
    for row, number in enumerate(known):
        away = [at - firsts[number] + REACH for at in places[number]]
        right[row, [place for place in away if 0 <= place <= 2 * REACH]] = 1
    own = scores[known]
    loss = functional.binary_cross_entropy_with_logits(own, right, reduction="none")
    yield "place", loss[own > -1e3].sum() / len(known)


# ---- figures -------------------------------------------------------------------------------------


def _figures(pairs: Sequence[tuple[dict[str, Any], Likely]]) -> dict[str, float]:
    found: dict[str, float] = {}
    for name in WORD_HEADS:
        wanted = np.concatenate([np.array(gold["words"][name]) for gold, _ in pairs])
        best = np.concatenate([likely.words[name].argmax(-1) for _, likely in pairs])
        right = ((wanted == best) & (wanted > 0)).sum()
        found[name] = 2 * right / max(1, (wanted > 0).sum() + (best > 0).sum())
    for name, key in (("role", "roles"), ("quantity", "quantities")):
        wanted = np.concatenate([np.array(gold[key], dtype=int) for gold, _ in pairs])
        best = np.concatenate([getattr(likely, key).argmax(-1) for _, likely in pairs])
        found[name] = float((wanted == best)[wanted >= 0].mean())
    found["owner"] = float(np.mean(list(_owners(pairs))))
    return {name: float(value) for name, value in found.items()}


def _owners(pairs: Sequence[tuple[dict[str, Any], Likely]]) -> Iterable[bool]:
    """For each reading whether the right word is most probable."""
    for gold, likely in pairs:
        asks = [ask for ask in gold["asks"] if ask[0] == "number"]
        for (_, at, things), row in zip(asks, likely.things, strict=True):
            if things is not None:
                best = int(row.argmax())
                yield (best - REACH + at in things) if things else best == len(row) - 1


# ---- reading what ``prepare`` wrote --------------------------------------------------------------


@spacy.registry.readers("talklog.notes.v2")
def read_notes(path: Path) -> Callable[[Language], Iterable[Example]]:
    """Examples of a DocBin of ``prepare``, read once. spaCy's own reader would leave the clues
    behind."""
    read: list[Example] = []

    def examples(nlp: Language) -> Iterable[Example]:
        if not read:
            docs = DocBin(store_user_data=True).from_disk(path).get_docs(nlp.vocab)
            read.extend(_example(doc, nlp) for doc in docs)
        return random.Random(len(read)).sample(read, len(read))

    return examples


def _example(doc: Doc, nlp: Language) -> Example:
    bare = Doc(nlp.vocab, words=[token.text for token in doc])
    bare.user_data[NOTE] = doc.user_data[NOTE]
    return Example(bare, doc)
