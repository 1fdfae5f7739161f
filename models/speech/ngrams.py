"""Backoff n-gram models as sorted numpy arrays: counting, smoothing, mixing, pruning, ARPA.

An n-gram is one 64-bit key: its word ids read as digits in base ``size`` (words in the
vocabulary), so that a sorted table has the n-grams of one history side by side, the history is
``key // size`` and the n-gram without its first word is ``key % size ** (n - 1)``.

Smoothing is Witten and Bell's (1991), whose shorter n-grams keep their true frequencies;
Kneser-Ney's do not, and lose more under heavy pruning (Chelba and others 2010: from memory, not
checked). Pruning is by relative entropy: A. Stolcke, "Entropy-based pruning of backoff language
models", DARPA workshop 1998.
"""

from __future__ import annotations

import gzip
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

BEGIN, END, UNKNOWN = 0, 1, 2
MARKS = ("<s>", "</s>", "<unk>")
TINY = 1e-12


class Vocabulary:
    """Word <-> id. Ids 0 to 2 are the sentence marks and the unknown word."""

    def __init__(self, words: Iterable[str]) -> None:
        self.words = [*MARKS, *dict.fromkeys(words)]
        self.ids = {word: index for index, word in enumerate(self.words)}

    def __len__(self) -> int:
        return len(self.words)

    def stream(self, sentences: Iterable[list[str]]) -> np.ndarray:
        """Ids of all sentences one after another, each between BEGIN and END; int32."""
        get = self.ids.get
        ids: list[int] = []
        for words in sentences:
            ids.append(BEGIN)
            ids += [get(word, UNKNOWN) for word in words]
            ids.append(END)
        return np.array(ids, dtype=np.int32)


@dataclass
class Table:
    """All n-grams of one order: sorted keys, probabilities, backoff weights of keys as history."""

    keys: np.ndarray
    probability: np.ndarray
    backoff: np.ndarray

    def places(self, keys: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Index of each key, and whether the table has it."""
        index = np.searchsorted(self.keys, keys).clip(max=max(len(self.keys) - 1, 0))
        found = self.keys[index] == keys if len(self.keys) else np.zeros(len(keys), bool)
        return index, found


@dataclass
class Model:
    """A backoff model; tables[n - 1] holds the n-grams of order n; size is the key base."""

    size: int
    tables: list[Table] = field(default_factory=list)

    @property
    def order(self) -> int:
        return len(self.tables)

    def probability(self, keys: np.ndarray, order: int) -> np.ndarray:
        """P(last word | the words before) of n-grams of the given order, by backing off."""
        if order > self.order:
            return self.probability(keys % self.size ** (order - 1), order - 1)
        table = self.tables[order - 1]
        index, found = table.places(keys)
        result = table.probability[index]
        if order > 1 and not found.all():
            missing = keys[~found]
            shorter = self.probability(missing % self.size ** (order - 1), order - 1)
            result[~found] = shorter * self.backoff(missing // self.size, order - 1)
        return result

    def backoff(self, histories: np.ndarray, order: int) -> np.ndarray:
        """Backoff weights of histories; 1 where the model has no such history."""
        index, found = self.tables[order - 1].places(histories)
        return np.where(found, self.tables[order - 1].backoff[index], 1.0)

    def joint(self, keys: np.ndarray, order: int) -> np.ndarray:
        """P(all words of the n-gram), an n-gram that begins a sentence counted from its start."""
        result = np.ones(len(keys))
        for length in range(1, order + 1):
            part = keys // self.size ** (order - length)
            step = self.probability(part, length)
            result *= np.where(part == BEGIN, 1.0, step) if length == 1 else step
        return result


def ngrams(stream: np.ndarray, order: int, size: int) -> np.ndarray:
    """Keys of the n-grams of a stream that stay within a sentence and have no unknown word."""
    length = len(stream) - order + 1
    if length <= 0:
        return np.zeros(0, np.int64)
    keys = np.zeros(length, np.int64)
    usable = np.ones(length, bool)
    for place in range(order):
        words = stream[place : place + length]
        keys = keys * size + words
        usable &= words != UNKNOWN
        if place > 0:
            usable &= words != BEGIN
        if place < order - 1:
            usable &= words != END
    return keys[usable]


def counted(stream: np.ndarray, order: int, size: int) -> tuple[np.ndarray, np.ndarray]:
    """Sorted n-gram keys and their counts."""
    return np.unique(ngrams(stream, order, size), return_counts=True)


def witten_bell(stream: np.ndarray, size: int, cuts: tuple[int, ...], *, copies: int = 1) -> Model:
    """An interpolated Witten-Bell model; cuts[n - 1] is the least count of an n-gram kept.

    copies says how many varied copies of a text the stream holds: each use counts 1 / copies.
    The sentence-begin mark has probability 0 and the unknown word none, so the probabilities of
    all other words sum to 1.
    """
    model = Model(size)
    keys, counts = counted(stream, 1, size)
    counts = counts[keys != BEGIN] / copies
    keys = keys[keys != BEGIN]
    kinds, words = len(keys), size - 2
    probability = np.full(size, kinds / words / (counts.sum() + kinds))
    probability[keys] += counts / (counts.sum() + kinds)
    probability[[BEGIN, UNKNOWN]] = 0.0
    model.tables.append(Table(np.arange(size, dtype=np.int64), probability, np.ones(size)))
    for order in range(2, len(cuts) + 1):
        keys, counts = counted(stream, order, size)
        kept = counts >= cuts[order - 1]
        _add_order(model, keys, counts / copies, kept)
    return model


def _add_order(model: Model, keys: np.ndarray, counts: np.ndarray, kept: np.ndarray) -> None:
    """Adds a table of one more order, of the n-grams marked as kept, and its backoff weights."""
    order = model.order + 1
    histories, first = np.unique(keys // model.size, return_index=True)
    owner = np.repeat(np.arange(len(histories)), np.diff([*first, len(keys)]))
    total = np.add.reduceat(counts, first)
    kinds = np.diff([*first, len(keys)])
    shorter = model.probability(keys % model.size ** (order - 1), order - 1)
    probability = (counts + kinds[owner] * shorter) / (total + kinds)[owner]
    model.tables.append(Table(keys[kept], probability[kept], np.ones(kept.sum())))
    set_backoff(model, order)


def set_backoff(model: Model, order: int) -> None:
    """Gives each history of an order the weight that makes its probabilities sum to 1."""
    table, lower = model.tables[order - 1], model.tables[order - 2]
    lower.backoff = np.ones(len(lower.keys))
    if not len(table.keys):
        return
    histories, first = np.unique(table.keys // model.size, return_index=True)
    shorter = model.probability(table.keys % model.size ** (order - 1), order - 1)
    left = 1 - np.add.reduceat(table.probability, first)
    free = 1 - np.add.reduceat(shorter, first)
    index, found = lower.places(histories)
    if not found.all():
        raise ValueError(f"{(~found).sum()} histories of order {order} are not in the model")
    lower.backoff[index] = np.maximum(left, TINY) / np.maximum(free, TINY)


def mixed(models: list[Model], weights: np.ndarray, sharpness: float) -> Model:
    """One model from several: P(w | h) = sum of weight_i(h) P_i(w | h).

    weight_i(h) is proportional to weights[i] * P_i(h) ** sharpness: with sharpness 0 plain
    linear interpolation, with 1 Bayes' rule (the part that such words are likelier to come from
    counts more).
    """
    mix = Model(models[0].size)
    for order in range(1, models[0].order + 1):
        keys = np.unique(np.concatenate([model.tables[order - 1].keys for model in models]))
        shares = history_weights(models, weights, sharpness, keys // mix.size, order - 1)
        probability = sum(
            share * model.probability(keys, order)
            for share, model in zip(shares, models, strict=True)
        )
        mix.tables.append(Table(keys, probability, np.ones(len(keys))))
        if order > 1:
            set_backoff(mix, order)
    return mix


def history_weights(
    models: list[Model], weights: np.ndarray, sharpness: float, histories: np.ndarray, order: int
) -> list[np.ndarray]:
    """Weight of each model for each history of the given order (0: no history)."""
    if order == 0:
        return [np.full(len(histories), weight) for weight in weights]
    shares = [
        weight * np.maximum(model.joint(histories, order), TINY**2) ** sharpness
        for weight, model in zip(weights, models, strict=True)
    ]
    total = sum(shares)
    return [share / total for share in shares]


def pruned(model: Model, targets: tuple[int, ...]) -> Model:
    """The model with at most targets[n - 1] n-grams of each order n > 1, all unigrams kept.

    The n-grams whose loss changes the model least (in relative entropy) go first, the longest
    order first; the history of an n-gram that stays also stays.
    """
    small = Model(model.size, [Table(t.keys, t.probability, t.backoff) for t in model.tables])
    for order in range(model.order, 1, -1):
        table = small.tables[order - 1]
        loss = pruning_loss(small, order)
        if order < model.order:
            needed = np.unique(small.tables[order].keys // model.size)
            loss[np.isin(table.keys, needed, assume_unique=True)] = np.inf
        if len(table.keys) > targets[order - 1]:
            worth = np.sort(loss)[::-1][targets[order - 1]]
            kept = (loss > worth) | np.isinf(loss)
            table = Table(table.keys[kept], table.probability[kept], table.backoff[kept])
            small.tables[order - 1] = table
    for order in range(2, small.order + 1):
        set_backoff(small, order)
    return small


def pruning_loss(model: Model, order: int) -> np.ndarray:
    """Relative entropy between the model and the model without each n-gram of an order.

    Stolcke's equation for one n-gram at a time, the history's backoff weight recomputed.
    """
    table = model.tables[order - 1]
    if not len(table.keys):
        return np.zeros(0)
    histories, first = np.unique(table.keys // model.size, return_index=True)
    owner = np.repeat(np.arange(len(histories)), np.diff([*first, len(table.keys)]))
    shorter = model.probability(table.keys % model.size ** (order - 1), order - 1)
    left = np.maximum(1 - np.add.reduceat(table.probability, first), TINY)[owner]
    free = np.maximum(1 - np.add.reduceat(shorter, first), TINY)[owner]
    before = left / free
    after = (left + table.probability) / (free + shorter)
    gain = np.log(np.maximum(shorter, TINY)) + np.log(after) - np.log(table.probability)
    change = table.probability * gain + left * (np.log(after) - np.log(before))
    return -model.joint(histories, order - 1)[owner] * change


def log_probabilities(model: Model, stream: np.ndarray) -> np.ndarray:
    """Natural log P of each word and sentence end of a stream; unknown words are left out.

    After an unknown word the history starts anew.
    """
    ids = stream.astype(np.int64)
    index = np.arange(len(ids))
    # Words that may serve as history: those since the sentence began or an unknown word came.
    breaks = np.where((ids == BEGIN) | (ids == UNKNOWN), index + (ids == UNKNOWN), -1)
    reach = np.minimum(index - np.maximum.accumulate(breaks), model.order - 1)
    scored = np.flatnonzero((ids != BEGIN) & (ids != UNKNOWN))
    result = np.zeros(len(ids))
    for history in range(model.order):
        which = scored[reach[scored] == history]
        keys = np.zeros(len(which), np.int64)
        for back in range(history, -1, -1):
            keys = keys * model.size + ids[which - back]
        result[which] = np.log(model.probability(keys, history + 1))
    return result[scored]


def perplexity(model: Model, stream: np.ndarray) -> float:
    return float(np.exp(-log_probabilities(model, stream).mean()))


def write_arpa(model: Model, vocabulary: Vocabulary, path: Path) -> None:
    """Writes the model in ARPA format, gzipped; the unknown word is left out."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with gzip.open(path, "wt", encoding="utf-8", compresslevel=6) as out:
        sizes = [len(table.keys) for table in model.tables]
        sizes[0] -= 1
        lines = [f"ngram {order}={count}" for order, count in enumerate(sizes, 1)]
        out.write("\\data\\\n" + "\n".join(lines) + "\n")
        for order, table in enumerate(model.tables, 1):
            out.write(f"\n\\{order}-grams:\n")
            out.writelines(_arpa_lines(model, table, order, vocabulary))
        out.write("\n\\end\\\n")


def _arpa_lines(model: Model, table: Table, order: int, vocabulary: Vocabulary) -> Iterable[str]:
    last = order == model.order
    log10 = np.log10(np.maximum(table.probability, TINY**2))
    backoff = np.log10(table.backoff)
    for key, value, weight in zip(
        table.keys.tolist(), log10.tolist(), backoff.tolist(), strict=True
    ):
        if order == 1 and key == UNKNOWN:
            continue
        text = " ".join(_words(key, order, model.size, vocabulary))
        value = -99.0 if order == 1 and key == BEGIN else value
        tail = "" if last or weight == 0 else f"\t{weight:.5f}"
        yield f"{value:.5f}\t{text}{tail}\n"


def _words(key: int, order: int, size: int, vocabulary: Vocabulary) -> list[str]:
    ids = []
    for _ in range(order):
        key, word = divmod(key, size)
        ids.append(vocabulary.words[word])
    return ids[::-1]
