"""The trained note reader: a spaCy component that says how probable each meaning of a note is.

It runs on a Doc whose ``user_data`` holds the clues of the words and numbers (see ``clues`` and
``numberclues``), and leaves what it found there: no tokeniser, no extension attributes, nothing
global. What it learned is a small network (see ``notenet``); ``models/extractor`` trains it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import accumulate
from pathlib import Path
from typing import Any

import numpy as np
from spacy.pipeline import TrainablePipe
from spacy.strings import hash_string
from spacy.tokens import Doc
from spacy.vocab import Vocab
from thinc.api import Model

from talklog.notenet import (
    HASHED,
    NUMBER_HASHED,
    REACH,
    Array,
    Between,
    Numbers,
    NumpyOps,
    Words,
    asking_at,
    between,
    choose_things,
    describe_numbers,
    encode,
    label_words,
    mean_bounds,
    neighbours,
    shapes,
)

NOTE, GOLD, LIKELY = "note", "gold", "likely"  # keys of Doc.user_data
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
SIZES = {"width": 96, "depth": 2}
WEIGHTS, SETTINGS, VECTORS = "weights.npz", "settings.json", "vectors.npz"
UNKNOWN = 0  # key of a word that is not told, and row of a word without a vector


@dataclass(frozen=True, slots=True)
class NoteClues:
    """A note as the network sees it. ``words``: for each word its clues, the first of them the word
    itself; ``numbers``: first word, last word and last word of the unit of each number."""

    said: Sequence[str]
    words: Sequence[Sequence[str]]
    numbers: Sequence[tuple[int, int, int]]
    number_clues: Sequence[Sequence[str]]
    landmarks: tuple[Sequence[int], Sequence[int], Sequence[int]]  # see ``clues.Landmarks``


@dataclass(frozen=True, slots=True)
class Tables:
    """Word -> row, of the words that are told apart and of those with a vector."""

    known: Mapping[str, int]
    vectors: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Likely:
    """Probabilities for a note of n words and k numbers."""

    words: dict[str, np.ndarray]  # (n, labels) for each of notenet.WORD_HEADS
    roles: np.ndarray  # (k, ROLES)
    quantities: np.ndarray  # (k, QUANTITIES)
    things: np.ndarray  # (k, 2 * REACH + 2): the word of the window, or none
    places: np.ndarray  # (k, 2 * REACH + 1): whether the word says the place
    rows: np.ndarray  # (n + 1, width), for ``NoteReader.things_of``, as the next
    lying: Between


class NoteReader(TrainablePipe):
    """The component. ``cfg`` holds the sizes of the network and the words that it tells apart."""

    def __init__(self, vocab: Vocab, model: Model | None = None, name: str = "note_reader") -> None:
        super().__init__(vocab, model or empty_model(), name)
        self.cfg: dict[str, Any] = {"sizes": SIZES, "known": []}
        self.vector_rows: dict[str, int] = {}
        self.vectors = np.zeros((1, 1), dtype="float32")

    @cached_property
    def params(self) -> dict[str, np.ndarray]:
        own = {name: self.model.get_param(name) for name in self.model.param_names}
        return {**own, "vectors": self.vectors}

    @cached_property
    def tables(self) -> Tables:
        known = {word: row for row, word in enumerate(self.cfg["known"], 1)}
        return Tables(known, self.vector_rows)

    def read(self, note: NoteClues) -> Likely:
        """The probabilities for one note."""
        ops = NumpyOps()
        rows = encode(self.params, words_of([note], self.tables), ops)
        words = {n: softmax(s) for n, s in label_words(self.params, rows).items()}
        if not note.numbers:
            return Likely(words, *_no_numbers(), rows, lying_in([note]))
        told = describe_numbers(self.params, rows, numbers_of([note]), ops)
        role, quantity, thing = (softmax(told[name]) for name in ("role", "quantity", "thing"))
        place = (1 + np.tanh(told["place"] / 2)) / 2
        return Likely(words, role, quantity, thing, place, rows, lying_in([note]))

    def things_of(self, name: str, likely: Likely, at: Sequence[int]) -> np.ndarray:
        """(len(at), 2 * REACH + 2): which word is the thing that the words ``at`` are about;
        ``name`` is one of notenet.ASKERS."""
        asking = asking_at(at, [0], [len(likely.rows) - 1], likely.lying)
        return softmax(choose_things(self.params, name, likely.rows, asking, NumpyOps()))

    def predict(self, docs: Iterable[Doc]) -> list[Likely]:
        return [self.read(note_of(doc)) for doc in docs]

    def set_annotations(self, docs: Iterable[Doc], found: Iterable[Likely]) -> None:
        for doc, likely in zip(docs, found, strict=True):
            doc.user_data[LIKELY] = likely

    def to_disk(self, path: Path | str, *, exclude: Iterable[str] = ()) -> None:
        """Writes the settings, and the weights in half precision."""
        folder = Path(path)
        folder.mkdir(parents=True, exist_ok=True)
        (folder / SETTINGS).write_text(json.dumps(self.cfg), "utf-8")
        own = {name: self.model.get_param(name) for name in self.model.param_names}
        np.savez_compressed(folder / WEIGHTS, **{n: w.astype("float16") for n, w in own.items()})

    def from_disk(self, path: Path | str, *, exclude: Iterable[str] = ()) -> NoteReader:
        """Reads what ``to_disk`` wrote, and the word vectors. Raises OSError, ValueError or
        KeyError."""
        folder = Path(path)
        self.cfg = json.loads((folder / SETTINGS).read_text("utf-8"))
        self.read_vectors(folder / VECTORS)
        with np.load(folder / WEIGHTS) as stored:
            weights = {name: stored[name].astype("float32") for name in stored.files}
        wanted = self.shapes()
        if {name: weight.shape for name, weight in weights.items()} != wanted:
            raise ValueError("the weights are not those of this network")
        for name, weight in weights.items():
            self.model.set_param(name, weight)
        self.forget()
        return self

    def forget(self) -> None:
        """Look at settings and weights again at the next reading."""
        self.__dict__.pop("params", None)
        self.__dict__.pop("tables", None)

    def read_vectors(self, path: Path) -> None:
        """Vectors in whole numbers of a 127th of the largest of each column; row 0 is no word."""
        with np.load(path) as stored:
            words = str(stored["words"]).split("\n")
            vectors = stored["vectors"].astype("float32") * stored["scale"]
        self.vector_rows = {word: row for row, word in enumerate(words, 1)}
        self.vectors = np.vstack([np.zeros((1, vectors.shape[1]), dtype="float32"), vectors])

    def shapes(self) -> dict[str, tuple[int, ...]]:
        return shapes(
            **self.cfg["sizes"],
            words=len(self.cfg["known"]) + 1,
            vectors=self.vectors.shape[1],
            roles=len(ROLES),
            quantities=len(QUANTITIES),
        )


def empty_model() -> Model[Any, Any]:
    """Only a store of parameters: the functions of ``notenet`` are called by name."""
    return Model("note_net", _not_called)


def _not_called(model: Model, given: Any, is_train: bool) -> tuple[Any, Callable]:
    raise NotImplementedError("call NoteReader.read")


def note_of(doc: Doc) -> NoteClues:
    """The clues that a Doc holds."""
    stored = doc.user_data[NOTE]
    numbers = [tuple(number) for number in stored["numbers"]]
    said = [token.text for token in doc]
    return NoteClues(said, stored["words"], numbers, stored["number_clues"], stored["landmarks"])


# ---- clues -> keys -------------------------------------------------------------------------------


def words_of(notes: Sequence[NoteClues], tables: Tables) -> Words:
    """The words of some notes as keys and rows."""
    starts, ends = bounds([len(note.words) for note in notes])
    clues = [[_key(clue) for clue in word[1:]] or [UNKNOWN] for n in notes for word in n.words]
    return Words(
        word=_array(tables.known.get(word[0], UNKNOWN) for note in notes for word in note.words),
        vector=_array(_vector_row(tables.vectors, word) for note in notes for word in note.said),
        clues=_array(key for word in clues for key in word),
        starts=_array([0, *accumulate(map(len, clues))][:-1]),
        wide=neighbours(starts, ends, 2),
        close=neighbours(starts, ends, 1),
        means=mean_bounds(starts, ends),
    )


def numbers_of(notes: Sequence[NoteClues]) -> Numbers:
    """The numbers of some notes as keys and rows. There must be one at least."""
    starts, ends = bounds([len(note.words) for note in notes])
    sides, clues = [], []
    for note, start, end in zip(notes, starts, ends, strict=True):
        for first, last, unit in note.numbers:
            before, behind = start + first - 1, start + unit + 1
            sides.append([start + first, start + last, before if first else ends[-1],
                          behind if behind < end else ends[-1]])  # fmt: skip
        clues += [[_number_key(clue) for clue in own] for own in note.number_clues]
    asking = asking_at([side[0] for side in sides], starts, ends, lying_in(notes))
    return Numbers(
        asking=asking,
        sides=np.array(sides),
        clues=_array(key for own in clues for key in own),
        starts=_array([0, *accumulate(map(len, clues))][:-1]),
    )


def lying_in(notes: Sequence[NoteClues]) -> Between:
    """What lies between the words of some notes."""
    starts, _ = bounds([len(note.words) for note in notes])
    rows = [[start + at for note, start in zip(notes, starts, strict=True)
             for at in note.landmarks[part]] for part in (0, 1)]  # fmt: skip
    return between(*rows, [axis for note in notes for axis in note.landmarks[2]])


def bounds(lengths: Sequence[int]) -> tuple[list[int], list[int]]:
    """The first row of each note, and the row after its last."""
    ends = list(accumulate(lengths))
    return [0, *ends[:-1]] if ends else [], ends


def _array(values: Iterable[int]) -> np.ndarray:
    return np.fromiter(values, dtype="int64")


def _vector_row(rows: Mapping[str, int], word: str) -> int:
    return rows.get(word) or rows.get(word.removesuffix("'s"), UNKNOWN)


@lru_cache(maxsize=200_000)
def _key(clue: str) -> int:
    return hash_string(clue) % (HASHED - 1) + 1 if clue else UNKNOWN


@lru_cache(maxsize=200_000)
def _number_key(clue: str) -> int:
    return hash_string(clue) % (NUMBER_HASHED - 1) + 1


def _no_numbers() -> tuple[np.ndarray, ...]:
    wide = 2 * REACH + 1
    return tuple(np.zeros((0, n), "float32") for n in (len(ROLES), len(QUANTITIES), wide + 1, wide))


def softmax(scores: Array) -> np.ndarray:
    """Scores -> probabilities, along the last axis."""
    powers = np.exp(scores - scores.max(-1, keepdims=True))
    return powers / powers.sum(-1, keepdims=True)
