"""The trained reader: a spaCy component that says where components, actions, parts and findings
stand.

A small convolutional network over hashed features of the words (see ``clues``), with one softmax
for each head. It runs on a Doc whose ``user_data`` holds the keys of its words, and leaves its
probabilities there: no tokeniser, no extension attributes, nothing global.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property, lru_cache
from itertools import islice
from typing import Any

import numpy as np
from spacy.language import Language
from spacy.pipeline import TrainablePipe
from spacy.strings import hash_string
from spacy.tokens import Doc
from spacy.training import Example
from spacy.vocab import Vocab
from thinc.api import (
    HashEmbed,
    Linear,
    Maxout,
    Model,
    chain,
    clone,
    concatenate,
    expand_window,
    residual,
    with_array,
)

CLUES, GOLD, FOUND = "clues", "gold", "found"  # keys of Doc.user_data
SPANS = ("outside", "begins", "inside")
HEADS = ("component", "action", "part", "finding")
WIDTH = len(HEADS) * len(SPANS)
COLUMNS = 8
SIZES = {"width": 48, "depth": 3, "window": 2, "rows": 2000}
RARE = ""  # what a word that was hardly seen in training looks like


def slices() -> Iterator[tuple[str, slice]]:
    """The columns of each head in the network's output."""
    for at, name in enumerate(HEADS):
        yield name, slice(at * len(SPANS), (at + 1) * len(SPANS))


def build_network(*, width: int, depth: int, window: int, rows: int) -> Model:
    """Keys of the words (n, COLUMNS) of each note -> scores (n, WIDTH)."""
    sizes = (rows, rows // 4, rows // 4, 200, 200, 500, 100, 100)
    embeds = [
        HashEmbed(width // (1 if column == 0 else 2), size, column=column, seed=column + 7)
        for column, size in enumerate(sizes)
    ]
    total = width + (COLUMNS - 1) * (width // 2)
    mix = Maxout(width, total, nP=3, dropout=0.0, normalize=True)
    layer = residual(
        chain(
            expand_window(window),
            Maxout(width, width * (2 * window + 1), nP=3, dropout=0.0, normalize=True),
        )
    )
    network = chain(concatenate(*embeds), mix, clone(layer, depth), Linear(WIDTH, width))
    return with_array(network, pad=window * depth)


class SpanReader(TrainablePipe):
    """The component. ``cfg["known"]`` is the list of words seen often enough to be told apart."""

    def __init__(self, vocab: Vocab, model: Model, name: str = "span_reader") -> None:
        super().__init__(vocab, model, name)
        self.cfg: dict[str, Any] = {"known": []}
        self.chance = np.random.default_rng(0)

    def keys_of(self, doc: Doc) -> np.ndarray:
        """The clues of the words as hashed keys (n, COLUMNS), rare words all alike."""
        return keys(doc.user_data[CLUES], frozenset(self.cfg["known"]))

    def predict(self, docs: Iterable[Doc]) -> list[np.ndarray]:
        """Probabilities (n, WIDTH) for each note."""
        scores = self.model.predict([self.keys_of(doc) for doc in docs])
        return [softmax(score) for score in scores]

    def read(self, clues: Sequence[Sequence[str]]) -> np.ndarray:
        """The same for the clues of one note, without a Doc; for a reader that is trained."""
        return softmax(self.model.predict([keys(clues, self.known)])[0])

    @cached_property
    def known(self) -> frozenset[str]:
        return frozenset(self.cfg["known"])

    def set_annotations(self, docs: Iterable[Doc], scores: Iterable[np.ndarray]) -> None:
        for doc, score in zip(docs, scores, strict=True):
            doc.user_data[FOUND] = score

    def update(
        self,
        examples: Iterable[Example],
        *,
        drop: float = 0.0,
        sgd: Any = None,
        losses: dict[str, float] | None = None,
    ) -> dict[str, float]:
        """One step. ``drop`` is the share of clues that are hidden, and of the units dropped."""
        losses = losses if losses is not None else {}
        examples = [example for example in examples if GOLD in example.reference.user_data]
        if not examples:
            return losses
        hidden = [self._hidden(self.keys_of(e.reference), drop) for e in examples]
        set_dropout(self.model, drop)
        scores, backprop = self.model.begin_update(hidden)
        loss, gradients = self.get_loss(examples, scores)
        backprop(gradients)
        if sgd is not None:
            self.finish_update(sgd)
        set_dropout(self.model, 0.0)
        losses[self.name] = losses.get(self.name, 0.0) + loss
        return losses

    def get_loss(
        self, examples: Iterable[Example], scores: Sequence[np.ndarray]
    ) -> tuple[float, list[np.ndarray]]:
        """The squared gradient of the cross entropy, and the gradient for each note."""
        gradients = [
            _gradient(score, e.reference) for score, e in zip(scores, examples, strict=True)
        ]
        words = sum(len(gradient) for gradient in gradients)
        loss = sum(float((gradient**2).sum()) for gradient in gradients)
        return loss, [(gradient / words).astype("float32") for gradient in gradients]

    def _hidden(self, table: np.ndarray, share: float) -> np.ndarray:
        """Some words and some clues made unknown, so that none is relied on alone."""
        hide = self.chance.random(table.shape) < share
        hide[:, 1] = hide[:, 2] = hide[:, 0]
        hide[:, 4] = False
        return np.where(hide, _hash(""), table).astype("uint64")

    def initialize(
        self,
        get_examples: Callable[[], Iterable[Example]],
        *,
        nlp: Language | None = None,
        least: int = 2,
    ) -> None:
        """Learns which words are known: those in ``least`` notes or more."""
        counts: dict[str, int] = {}
        for example in _marked(get_examples()):
            for word in {clues[0] for clues in example.reference.user_data[CLUES]}:
                counts[word] = counts.get(word, 0) + 1
        self.cfg["known"] = sorted(word for word, count in counts.items() if count >= least)
        some = [self.keys_of(example.reference) for example in islice(_marked(get_examples()), 5)]
        self.model.initialize(X=some)

    def score(self, examples: Iterable[Example], **_: Any) -> dict[str, float]:
        """F1 of the spans of each head."""
        return dict(_figures(list(examples)))


@Language.factory(
    "span_reader",
    default_config={"model": SIZES},
    default_score_weights={"component": 0.4, "finding": 0.3, "action": 0.2, "part": 0.1},
)
def make_reader(nlp: Language, name: str, model: dict[str, int]) -> SpanReader:
    """``model`` are the sizes of ``build_network``."""
    return SpanReader(nlp.vocab, build_network(**model), name)


def _marked(examples: Iterable[Example]) -> Iterator[Example]:
    """Those whose spans somebody marked; generated notes have none."""
    return (example for example in examples if GOLD in example.reference.user_data)


def set_dropout(model: Model, share: float) -> None:
    for node in model.walk():
        if "dropout_rate" in node.attrs:
            node.attrs["dropout_rate"] = share


@lru_cache(maxsize=100_000)
def _hash(text: str) -> int:
    return hash_string(text) if text else 1


def keys(clues: Sequence[Sequence[str]], known: frozenset[str]) -> np.ndarray:
    rows = [(_hash(c[0] if c[0] in known else RARE), *map(_hash, c[1:])) for c in clues]
    return np.array(rows, dtype="uint64").reshape(-1, COLUMNS)


def softmax(scores: np.ndarray) -> np.ndarray:
    """Probabilities of each head."""
    heads = scores.reshape(len(scores), len(HEADS), len(SPANS))
    powers = np.exp(heads - heads.max(axis=2, keepdims=True))
    return (powers / powers.sum(axis=2, keepdims=True)).reshape(scores.shape)


def _gradient(scores: np.ndarray, doc: Doc) -> np.ndarray:
    gradient = softmax(scores)
    for name, columns in slices():
        gold = np.array(doc.user_data[GOLD][name])
        gradient[np.arange(len(gold)), columns.start + gold] -= 1
    return gradient


def spans_of(marks: Sequence[int]) -> list[tuple[int, int]]:
    """Labels of one head -> inclusive spans. An inside after nothing begins one too."""
    spans: list[tuple[int, int]] = []
    before = 0
    for at, mark in enumerate(marks):
        if mark == 1 or (mark and not before):
            spans.append((at, at))
        elif mark:
            spans[-1] = (spans[-1][0], at)
        before = mark
    return spans


def _figures(examples: list[Example]) -> Iterator[tuple[str, float]]:
    """F1 of the spans of each head; a span is right when it shares a word with one wanted."""
    for name, columns in slices():
        right = wanted = found = 0
        for example in examples:
            gold = spans_of(example.reference.user_data[GOLD][name])
            best = spans_of(example.predicted.user_data[FOUND][:, columns].argmax(axis=1))
            right += sum(any(a <= d and c <= b for c, d in best) for a, b in gold)
            wanted, found = wanted + len(gold), found + len(best)
        yield name, 2 * right / (wanted + found) if wanted + found else 0.0
