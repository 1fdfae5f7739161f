"""The trained note reader: a spaCy component that says how probable each meaning of a note is.

It runs on a Doc whose ``user_data`` holds the clues of the words and numbers (see ``clues`` and
``numberclues``), and leaves what it found there: no tokeniser, no extension attributes, nothing
global. What it learned is a small network (see ``notenet`` and ``encoder``); ``models/extractor``
trains it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from spacy.pipeline import Pipe
from spacy.tokens import Doc
from spacy.vocab import Vocab

from talklog.notearrays import (
    QUANTITIES,
    ROLES,
    NoteClues,
    keyed,
    lying_in,
    numbers_of,
    words_of,
)
from talklog.notenet import (
    REACH,
    Array,
    NumpyOps,
    choose_things,
    describe_numbers,
    encode,
    label_words,
    shapes,
)
from talklog.noterows import Between, asking_at
from talklog.packed import unpack

NOTE, LIKELY = "note", "likely"  # keys of Doc.user_data
WEIGHTS, SETTINGS = "weights.npz", "settings.json"


@dataclass(frozen=True, slots=True)
class Likely:
    """Probabilities for a note of n words and k numbers."""

    words: dict[str, np.ndarray]  # (n, labels) for each of notenet.WORD_HEADS
    roles: np.ndarray  # (k, ROLES)
    quantities: np.ndarray  # (k, QUANTITIES)
    things: np.ndarray  # (k, 2 * REACH + 2): the word of the window, or none
    places: np.ndarray  # (k, 2 * REACH + 1): whether the word says the place
    units: np.ndarray  # (k, 2 * REACH + 2): the word that says the unit, or none
    rows: np.ndarray  # (n + 1, width), for ``NoteReader.things_of``, as the next
    lying: Between


class NoteReader(Pipe):
    """The component. ``sizes``: see ``notenet.shapes``; ``pieces`` of words, in the order of their
    rows; ``params``: name -> array, of those shapes. Raises ValueError for others."""

    def __init__(
        self,
        vocab: Vocab,
        *,
        sizes: dict[str, int],
        pieces: Iterable[str],
        params: dict[str, np.ndarray],
        name: str = "note_reader",
    ) -> None:
        self.vocab, self.name = vocab, name
        self.pieces = {piece: row for row, piece in enumerate(pieces)}
        wanted = shapes(**sizes, pieces=len(self.pieces), roles=len(ROLES),
                        quantities=len(QUANTITIES))  # fmt: skip
        if {name: param.shape for name, param in params.items()} != wanted:
            raise ValueError("the weights are not those of this network")
        self.params = params

    def read(self, note: NoteClues) -> Likely:
        """The probabilities for one note of one word or more."""
        ops, own = NumpyOps(), [keyed(note, self.pieces)]
        rows = encode(self.params, words_of(own, self.pieces), ops)
        words = {n: softmax(s) for n, s in label_words(self.params, rows).items()}
        if not note.numbers:
            return Likely(words, *_no_numbers(), rows, lying_in(own))
        told = describe_numbers(self.params, rows, numbers_of(own), ops)
        role, quantity, thing = (softmax(told[name]) for name in ("role", "quantity", "thing"))
        place, unit = (1 + np.tanh(told["place"] / 2)) / 2, softmax(told["unit"])
        return Likely(words, role, quantity, thing, place, unit, rows, lying_in(own))

    def things_of(self, name: str, likely: Likely, at: list[int]) -> np.ndarray:
        """(len(at), 2 * REACH + 2): which word is the thing that the words ``at`` are about;
        ``name`` is one of notenet.ASKERS."""
        asking = asking_at(at, [0], [len(likely.rows) - 1], likely.lying)
        return softmax(choose_things(self.params, name, likely.rows, asking, NumpyOps()))

    def __call__(self, doc: Doc) -> Doc:
        """Reads the clues of a Doc and leaves what is likely."""
        said = [token.text for token in doc]
        doc.user_data[LIKELY] = self.read(NoteClues(said, **doc.user_data[NOTE]))
        return doc


def load(vocab: Vocab, folder: Path) -> NoteReader:
    """The reader that lies in a folder. Raises OSError, ValueError or KeyError."""
    settings: dict[str, Any] = json.loads((folder / SETTINGS).read_text("utf-8"))
    with np.load(folder / WEIGHTS) as stored:
        return NoteReader(vocab, **settings, params=unpack(stored))


def _no_numbers() -> tuple[np.ndarray, ...]:
    window = 2 * REACH + 1
    widths = (len(ROLES), len(QUANTITIES), window + 1, window, window + 1)
    return tuple(np.zeros((0, width), "float32") for width in widths)


def softmax(scores: Array) -> np.ndarray:
    """Scores -> probabilities, along the last axis."""
    powers = np.exp(scores - scores.max(-1, keepdims=True))
    return powers / powers.sum(-1, keepdims=True)
