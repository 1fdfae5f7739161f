"""The trained role reader: a spaCy component that says of each number of a note what it is.

One layer: the clues of a number (see ``numberclues``) each add their weights to the scores of the
roles, and a softmax makes probabilities of them. It runs on a Doc whose ``user_data`` holds the
clues, and leaves the probabilities there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np
from spacy.language import Language
from spacy.pipeline import TrainablePipe
from spacy.tokens import Doc
from spacy.training import Example
from spacy.vocab import Vocab
from thinc.api import Model

NUMBERS, TRUE, LIKELY, WEIGHT = "numbers", "roles", "likely", "weight"  # keys of Doc.user_data
ROLES = (
    *("measured", "set", "as_found", "as_left"),
    *("quoted_spec", "other_opinion", "tool_size", "part_size", "superseded", "intention"),
    *("hypothetical", "time_or_date", "count", "position", "follow_up", "meter"),
    *("part_quantity", "unsure", "no_number"),
)
Rows = list[np.ndarray]  # for each number the rows of its known clues


def build_sum(rows: int) -> Model[Rows, np.ndarray]:
    """Rows of the clues of each number -> scores (n, roles): the sum of the rows' weights."""
    model: Model[Rows, np.ndarray] = Model("clue_sum", _forward, dims={"nO": len(ROLES)})
    model.set_param("W", np.zeros((rows, len(ROLES)), dtype="float32"))
    return model


def _forward(model: Model, numbers: Rows, is_train: bool) -> tuple[np.ndarray, Callable]:
    weights = model.get_param("W")
    scores = np.stack([weights[rows].sum(axis=0) for rows in numbers])

    def backprop(gradient: np.ndarray) -> Rows:
        change = np.zeros_like(weights)
        for rows, slope in zip(numbers, gradient, strict=True):
            change[rows] += slope
        model.inc_grad("W", change)
        return []

    return scores, backprop


class RoleReader(TrainablePipe):
    """The component. ``cfg["clues"]`` names the rows of the weights."""

    def __init__(self, vocab: Vocab, model: Model, name: str = "role_reader") -> None:
        super().__init__(vocab, model, name)
        self.cfg: dict[str, Any] = {"clues": []}
        self.rows: dict[str, int] = {}
        self.chance = np.random.default_rng(0)

    def rows_of(self, clues: Sequence[str]) -> np.ndarray:
        """The rows of the clues that are known."""
        if len(self.rows) != len(self.cfg["clues"]):
            self.rows = {clue: row for row, clue in enumerate(self.cfg["clues"])}
        known = (self.rows.get(clue) for clue in dict.fromkeys(clues))
        return np.array([row for row in known if row is not None], dtype="int64")

    def predict(self, docs: Iterable[Doc]) -> list[np.ndarray]:
        """Probabilities (numbers, roles) for each note."""
        return [self.read(doc.user_data.get(NUMBERS, ())) for doc in docs]

    def read(self, numbers: Sequence[Sequence[str]]) -> np.ndarray:
        """The same for the clues of one note's numbers, without a Doc."""
        if not numbers:
            return np.zeros((0, len(ROLES)), dtype="float32")
        return _softmax(self.model.predict([self.rows_of(clues) for clues in numbers]))

    def set_annotations(self, docs: Iterable[Doc], scores: Iterable[np.ndarray]) -> None:
        for doc, score in zip(docs, scores, strict=True):
            doc.user_data[LIKELY] = score

    def update(
        self,
        examples: Iterable[Example],
        *,
        drop: float = 0.0,
        sgd: Any = None,
        losses: dict[str, float] | None = None,
    ) -> dict[str, float]:
        """One step over the numbers whose role is known, each with the weight of its note.
        ``drop`` is the share of clues hidden."""
        losses = losses if losses is not None else {}
        known = [pair for example in examples for pair in _known(example.reference)]
        if known:
            rows = [self._hidden(self.rows_of(clues), drop) for clues, *_ in known]
            weights = np.array([weight for *_, weight in known], dtype="float32")
            scores, backprop = self.model.begin_update(rows)
            slope = _softmax(scores)
            slope[np.arange(len(known)), [ROLES.index(role) for _, role, _ in known]] -= 1
            backprop(slope * weights[:, None] / weights.sum())
            losses[self.name] = losses.get(self.name, 0.0) + float((slope**2).sum())
            if sgd is not None:
                self.finish_update(sgd)
        return losses

    def _hidden(self, rows: np.ndarray, share: float) -> np.ndarray:
        return rows[self.chance.random(len(rows)) >= share]

    def initialize(
        self,
        get_examples: Callable[[], Iterable[Example]],
        *,
        nlp: Language | None = None,
        least: int = 2,
    ) -> None:
        """Learns which clues are known: those of ``least`` numbers or more."""
        counts: Counter[str] = Counter()
        for example in get_examples():
            for clues, *_ in _known(example.reference):
                counts.update(set(clues))
        self.cfg["clues"] = sorted(clue for clue, count in counts.items() if count >= least)
        rows = len(self.cfg["clues"])
        self.model.set_param("W", np.zeros((rows, len(ROLES)), dtype="float32"))

    def score(self, examples: Iterable[Example], **_: Any) -> dict[str, float]:
        """The share of known roles that are right."""
        right = wanted = 0
        for example in examples:
            likely = example.predicted.user_data[LIKELY]
            for role, chances in zip(example.reference.user_data[TRUE], likely, strict=True):
                wanted += role is not None
                right += role == ROLES[int(chances.argmax())]
        return {"role": right / wanted if wanted else 0.0}


@Language.factory("role_reader", default_score_weights={"role": 1.0})
def make_role_reader(nlp: Language, name: str) -> RoleReader:
    return RoleReader(nlp.vocab, build_sum(0), name)


def _known(doc: Doc) -> list[tuple[Sequence[str], str, float]]:
    pairs = zip(doc.user_data[NUMBERS], doc.user_data[TRUE], strict=True)
    weight = doc.user_data.get(WEIGHT, 1.0)
    return [(clues, role, weight) for clues, role in pairs if role is not None]


def _softmax(scores: np.ndarray) -> np.ndarray:
    powers = np.exp(scores - scores.max(axis=1, keepdims=True))
    return powers / powers.sum(axis=1, keepdims=True)
