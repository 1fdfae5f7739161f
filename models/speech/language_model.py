"""The recogniser's language model: dictation grammar, workshop and general text in one.

    TALKLOG_CORPORA=... python -m models.speech.language_model [--bigrams N] [--trigrams N]

reads models/speech/work/lexicon.tsv (the only words it knows) and writes
models/speech/work/lm.arpa.gz and lm.json (weights, sizes, perplexities). The parts are mixed
with weights that suit the development dictation best, then pruned to the given size.
Development dictation is --dev FILE ... (the extractor's development notes unless said
otherwise); without it the weights stay as they are below.
A part of its own are spelled words, codes, dates, telephone numbers and addresses, in which "two"
is likelier than "to" (``prompts.codes``); --spelled FILE ... adds what people read aloud of that
kind, --read FILE ... what they read from books, to the general text.
Hand-written notes (--notes FILE ..., those of the extractor's training corpus unless said
otherwise) make a part of their own, their numbers varied. All these files are plain text, one note
a line, TOML with [[passage]] text, or an index that ``pack`` wrote. Takes some minutes and 1 GB.
"""

from __future__ import annotations

import argparse
import itertools
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random

import numpy as np

from models.speech import corpus_text, lexicon, prompts
from models.speech.dictation_grammar import Grammar, utterances
from models.speech.ngrams import (
    Model,
    Vocabulary,
    history_weights,
    mixed,
    ngrams,
    perplexity,
    pruned,
    witten_bell,
    write_arpa,
)

WORK = Path(__file__).parent / "work"
# Between what notes by other authors ask for (notes 0.75) and what books and spelled letters do.
DEFAULT_WEIGHTS = {
    "grammar": 0.3,
    "workshop": 0.04,
    "general": 0.3,
    "codes": 0.04,
    "notes": 0.32,
}
DEFAULT_SHARPNESS = 0.0
SHARPNESSES = (0.0, 0.25, 0.5, 0.75, 1.0)
GRID = 20  # weights are tried in steps of 1/20
# Least count of an n-gram kept, by order. Four-grams did not pay: same perplexity, bigger graph.
CUTS = {"grammar": (1, 2, 3), "workshop": (1, 1, 2), "general": (1, 1, 2)} | {
    "codes": (1, 1, 3),
    "notes": (1, 1, 1),
}
HELD_OUT = 50  # one workshop sentence in so many is kept for measuring
CODES = 300_000  # made
SPELLED_COPIES = 10  # of each code that somebody read aloud
COPIES = 10  # of each hand-written note, with other numbers: 3 % less perplexity than one copy
VARIED = 0.7  # of the number words of a copy
TEST_SEED = 90_001  # grammar sentences for measuring come from another seed


@dataclass(frozen=True)
class Texts:
    """Word-id streams: the parts of the model, and what perplexity is measured on."""

    parts: dict[str, np.ndarray]
    held_out: dict[str, np.ndarray]


def sentences(corpora: tuple[str, ...]) -> Iterator[list[str]]:
    """Spoken words of the sentences of text corpora, British spelling in all."""
    table = corpus_text.spelling_table()
    for corpus in corpora:
        for sentence in corpus_text.raw_sentences(corpus):
            words = corpus_text.spoken_words(sentence)
            if words:
                yield corpus_text.british(words, table)


def hand_written(paths: list[Path]) -> list[list[str]]:
    """Notes of files, in British spelling."""
    table = corpus_text.spelling_table()
    return [corpus_text.british(words, table) for words in corpus_text.dictation(paths)]


def varied(notes: list[list[str]], seed: int) -> Iterator[list[str]]:
    """COPIES of the notes with many number words changed for others of their kind."""
    grammar, random = Grammar(), Random(seed)
    kinds = [sorted(grammar.words(kind)) for kind in ("digit", "teen", "tens")]
    kind_of = {word: kind for kind in kinds for word in kind}
    for _ in range(COPIES):
        for note in notes:
            yield [
                random.choice(kind_of[word]) if word in kind_of and random.random() < VARIED
                else word
                for word in note
            ]  # fmt: skip


def codes(
    vocabulary: Vocabulary, spelled: list[Path], seed: int, made: int = CODES
) -> Iterator[list[str]]:
    """So many made codes, and those of files, SPELLED_COPIES times."""
    yield from itertools.islice(prompts.codes(Random(seed), Grammar(), set(vocabulary.ids)), made)
    for words in hand_written(spelled):
        yield from itertools.repeat(words, SPELLED_COPIES)


def gather(
    vocabulary: Vocabulary,
    notes: list[Path],
    spelled: list[Path],
    read: list[Path],
    count: int,
    seed: int,
) -> Texts:
    """The parts as id streams. Raises FileNotFoundError when the corpora are absent."""
    workshop = list(sentences(corpus_text.WORKSHOP))
    kept = [words for index, words in enumerate(workshop) if index % HELD_OUT]
    parts = {
        "grammar": vocabulary.stream(utterances(seed, count)),
        "workshop": vocabulary.stream(kept),
        "general": vocabulary.stream(
            itertools.chain(sentences(corpus_text.GENERAL), hand_written(read))
        ),
        "codes": vocabulary.stream(codes(vocabulary, spelled, seed)),
    }
    if notes:
        parts["notes"] = vocabulary.stream(varied(hand_written(notes), seed))
    held_out = {
        "workshop": vocabulary.stream(workshop[::HELD_OUT]),
        "grammar": vocabulary.stream(utterances(TEST_SEED, 5_000)),
    }
    return Texts(parts, held_out)


def estimate(texts: Texts, size: int) -> dict[str, Model]:
    """A Witten-Bell model of each part."""
    return {
        part: witten_bell(stream, size, CUTS[part], copies=COPIES if part == "notes" else 1)
        for part, stream in texts.parts.items()
    }


def default_weights(parts: Iterable[str]) -> np.ndarray:
    weights = np.array([DEFAULT_WEIGHTS[part] for part in parts])
    return weights / weights.sum()


def best_weights(models: list[Model], dev: np.ndarray) -> tuple[np.ndarray, float]:
    """Weights and sharpness that give the development text the highest likelihood."""
    order, size = models[0].order, models[0].size
    keys = ngrams(dev, order, size)
    own = np.array([model.probability(keys, order) for model in models])
    best = (-np.inf, np.ones(len(models)) / len(models), DEFAULT_SHARPNESS)
    for sharpness in SHARPNESSES:
        even = np.ones(len(models))
        shares = np.array(history_weights(models, even, sharpness, keys // size, order - 1))
        for weights in _simplex(len(models)):
            parts = weights[:, None] * shares
            value = np.log((parts / parts.sum(0) * own).sum(0)).mean()
            if value > best[0]:
                best = (value, weights, sharpness)
    return best[1], best[2]


def _simplex(parts: int) -> Iterator[np.ndarray]:
    """All weight vectors in steps of 1 / GRID with no weight at zero."""
    for cuts in itertools.combinations(range(1, GRID), parts - 1):
        yield np.diff([0, *cuts, GRID]) / GRID


def spread(model: Model, vocabulary: Vocabulary, numbers: list[str], units: list[str]) -> dict:
    """Whether numbers are a class: the least likely number word and unit in plain places.

    "number after": lowest P(number | context) over contexts; "unit after": lowest
    P(unit | number) over all pairs.
    """
    contexts = ["is", "to", "at", "gap", "pressure", "about", "torque"]
    return {
        "number after": _lowest(model, vocabulary, contexts, numbers),
        "unit after": _lowest(model, vocabulary, numbers, units),
    }


def _lowest(model: Model, vocabulary: Vocabulary, before: list[str], after: list[str]) -> dict:
    pairs = [(a, b) for a in before for b in after]
    ids = vocabulary.ids
    keys = np.array([ids[a] * model.size + ids[b] for a, b in pairs], np.int64)
    values = model.probability(keys, 2)
    return {"pair": " ".join(pairs[int(values.argmin())]), "probability": float(values.min())}


NUMBERS = (  # noqa: SIM905
    "one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen "
    "sixteen seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety "
    "oh nought zero point hundred"
).split()
UNITS = (  # noqa: SIM905
    "millimetres mil thou newton foot pounds bar p volts amps ohms degrees litres inches revs "
    "percent hours miles turns kilos microns"
).split()


def report(models: dict[str, Model], texts: dict[str, np.ndarray]) -> dict:
    """Perplexity of every text under every model."""
    return {
        name: {text: round(perplexity(model, stream), 1) for text, stream in texts.items()}
        for name, model in models.items()
    }


def unknown_share(stream: np.ndarray) -> float:
    """Share of words outside the lexicon."""
    return float((stream == 2).sum() / (stream > 1).sum())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--lexicon", type=Path, default=WORK / "lexicon.tsv")
    parser.add_argument("--dev", type=Path, nargs="*", default=corpus_text.DEVELOPMENT)
    parser.add_argument("--notes", type=Path, nargs="*", default=corpus_text.NOTES)
    parser.add_argument("--spelled", type=Path, nargs="*", default=[])
    parser.add_argument("--read", type=Path, nargs="*", default=[])
    parser.add_argument("--sentences", type=int, default=1_500_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--bigrams", type=int, default=130_000)
    parser.add_argument("--trigrams", type=int, default=90_000)
    parser.add_argument("--out", type=Path, default=WORK / "lm.arpa.gz")
    options = parser.parse_args()
    vocabulary = Vocabulary(lexicon.read_words(options.lexicon))
    files = options.notes, options.spelled, options.read
    texts = gather(vocabulary, *files, options.sentences, options.seed)
    models = estimate(texts, len(vocabulary))
    measured = dict(texts.held_out)
    weights, sharpness = default_weights(models), DEFAULT_SHARPNESS
    if options.dev:
        measured["dev"] = vocabulary.stream(hand_written(options.dev))
        weights, sharpness = best_weights(list(models.values()), measured["dev"])
    full = mixed(list(models.values()), weights, sharpness)
    small = pruned(full, (0, options.bigrams, options.trigrams))
    write_arpa(small, vocabulary, options.out)
    facts = {
        "weights": dict(zip(models, weights.round(3).tolist(), strict=True)),
        "sharpness": sharpness,
        "ngrams": [len(table.keys) for table in small.tables],
        "ngrams before pruning": [len(table.keys) for table in full.tables],
        "perplexity": report(models | {"full": full, "pruned": small}, measured),
        "unknown words": {name: round(unknown_share(s), 4) for name, s in measured.items()},
        "spread": spread(small, vocabulary, NUMBERS, UNITS),
    }
    options.out.with_name("lm.json").write_text(json.dumps(facts, indent=1) + "\n")
    print(json.dumps(facts, indent=1))


if __name__ == "__main__":
    main()
