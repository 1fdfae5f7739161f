"""Lexicon and language model -> the decoding graph of a Vosk model folder.

    python -m models.speech.graph LEXICON.tsv LM.arpa MODEL_DIR

LEXICON.tsv has a word, a tab and its phones with spaces; further columns are ignored, several lines
a word are several pronunciations. Follows the usual recipe (Mohri, Pereira and Riley, "Weighted
finite-state transducers in speech recognition", 2002): compose pronunciations with the language
model, determinise, compose with the sound models, determinise, minimise, add self-loops.
"""

from __future__ import annotations

import gzip
import shutil
import tempfile
import time
from collections import Counter
from pathlib import Path

import click
import kaldifst
import kaldilm

from . import fst_file
from .topology import MARKED, MARKED_ID, SILENCE, marked_pronunciation, transitions

SILENCE_COST = NO_SILENCE_COST = 0.693147  # a pause after a word or none: even odds
Pronunciations = list[tuple[str, list[str]]]


def read_lexicon(path: Path) -> Pronunciations:
    """(word, phones) per line, in the order of the file, without repeats."""
    seen: dict[tuple[str, str], None] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        word, phones = line.split("\t")[:2]
        seen[(word, phones)] = None
    return [(word, phones.split()) for word, phones in seen]


def word_table(lexicon: Pronunciations) -> dict[str, int]:
    """Word ids, with the epsilon, backoff and sentence symbols that the graph needs."""
    words = ["<eps>", *sorted({word for word, _ in lexicon}), "#0", "<s>", "</s>"]
    return {word: index for index, word in enumerate(words)}


class LexiconFst:
    """The pronunciations as a transducer in text form, with disambiguation symbols.

    State 0 begins, state 1 lies between words, state 2 follows a word that a pause follows.
    """

    def __init__(self, lexicon: Pronunciations, words: dict[str, int]) -> None:
        self.words = words
        self.lines: list[str] = []
        self.states = 3
        self.backoff = len(MARKED)
        entries = self._disambiguated(lexicon)
        self.after_silence = self.backoff + 1 + self.highest
        self._silences()
        for word, labels in entries:
            self._word(word, labels)
        self.lines += [f"1 1 {self.backoff} {words['#0']} 0", "1 0"]

    def _disambiguated(self, lexicon: Pronunciations) -> list[tuple[str, list[int]]]:
        """Marks pronunciations that are shared or begin another: LG can then be determinised."""
        whole = Counter(tuple(phones) for _, phones in lexicon)
        beginnings = {key[:n] for key in whole for n in range(1, len(key))}
        used: Counter[tuple[str, ...]] = Counter()
        entries = []
        for word, phones in lexicon:
            labels = [MARKED_ID[phone] for phone in marked_pronunciation(phones)]
            key = tuple(phones)
            if whole[key] > 1 or key in beginnings:
                used[key] += 1
                labels.append(self.backoff + used[key])
            entries.append((word, labels))
        self.highest = max(used.values(), default=0)
        return entries

    def _state(self) -> int:
        self.states += 1
        return self.states - 1

    def _silences(self) -> None:
        silent = self._state()
        sil = MARKED_ID[SILENCE]
        self.lines += [
            f"0 1 0 0 {NO_SILENCE_COST}",
            f"0 {silent} {sil} 0 {SILENCE_COST}",
            f"2 {silent} {sil} 0 0",
            f"{silent} 1 {self.after_silence} 0 0",
        ]

    def _word(self, word: str, labels: list[int]) -> None:
        state, output = 1, self.words[word]
        for label in labels[:-1]:
            following = self._state()
            self.lines.append(f"{state} {following} {label} {output} 0")
            state, output = following, 0
        self.lines.append(f"{state} 1 {labels[-1]} {output} {NO_SILENCE_COST}")
        self.lines.append(f"{state} 2 {labels[-1]} {output} {SILENCE_COST}")

    def compiled(self):
        return kaldifst.compile("\n".join(self.lines) + "\n", acceptor=False)


def sound_models(highest_disambiguation: int):
    """Transition ids in, marked phones out. Disambiguation symbols pass, after the last id."""
    table, last = transitions()
    lines = [f"0 0 {ids.enter} {phone} 0" for phone, ids in table.items()]
    lines += [
        f"0 0 {last + 1 + label - len(MARKED)} {label} 0"
        for label in range(len(MARKED), highest_disambiguation + 1)
    ]
    return kaldifst.compile("\n".join([*lines, "0 0"]) + "\n", acceptor=False), last


def language_model(arpa: Path, words: dict[str, int], folder: Path):
    """The ARPA model as an acceptor whose backoff arcs read #0."""
    table = folder / "words.txt"
    table.write_text("".join(f"{w} {i}\n" for w, i in words.items()), encoding="utf-8")
    plain = folder / "lm.arpa"
    opened = gzip.open if arpa.suffix == ".gz" else open
    with opened(arpa, "rb") as source, plain.open("wb") as target:
        shutil.copyfileobj(source, target)
    out = folder / "G.fst"
    kaldilm.arpa2fst(
        input_arpa=str(plain),
        output_fst=str(out),
        disambig_symbol="#0",
        read_symbol_table=str(table),
        max_arpa_warnings=3,
    )
    return kaldifst.StdVectorFst.read(str(out))


def compose(lexicon: Pronunciations, arpa: Path, words: dict[str, int], folder: Path, say):
    """Determinised and minimised H o L o G without self-loops, as states of ``fst_file``."""
    pronunciations = LexiconFst(lexicon, words)
    lex, grammar = pronunciations.compiled(), language_model(arpa, words, folder)
    kaldifst.arcsort(lex, "olabel")
    kaldifst.arcsort(grammar, "ilabel")
    joined = kaldifst.compose(lex, grammar)
    kaldifst.determinize_star(joined, use_log=True)
    kaldifst.minimize_encoded(joined)
    say(f"words and language model: {joined.num_states} states")
    sounds, last = sound_models(pronunciations.after_silence)
    kaldifst.arcsort(joined, "ilabel")
    kaldifst.arcsort(sounds, "olabel")
    graph = kaldifst.compose(sounds, joined)
    kaldifst.determinize_star(graph, use_log=True)
    return _without_disambiguation(graph, last, folder)


def _without_disambiguation(graph, last: int, folder: Path) -> fst_file.Fst:
    path = folder / "graph.fst"
    graph.write(str(path))
    fst = fst_file.read(path)
    for arcs in fst.arcs:
        arcs["input"][arcs["input"] > last] = 0
    fst_file.write(path, fst)
    graph = kaldifst.StdVectorFst.read(str(path))
    kaldifst.minimize_encoded(graph)
    graph.write(str(path))
    return fst_file.read(path)


def with_loops(fst: fst_file.Fst) -> fst_file.Fst:
    """Adds each sound's blank loop right after its forward arc.

    A state that is reached by sounds with different loops is split, one copy a loop.
    """
    loop_of = {ids.enter: ids.loop for ids in transitions()[0].values()} | {0: 0}
    copies: dict[tuple[int, int], int] = {(fst.start, 0): 0}
    queue, made = [(fst.start, 0)], []
    while len(made) < len(queue):
        state, loop = queue[len(made)]
        rows = [(loop, 0, 0.0, len(made))] if loop else []
        for source, output, weight, target in fst.arcs[state].tolist():
            key = (target, loop_of[source])
            if key not in copies:
                copies[key] = len(queue)
                queue.append(key)
            rows.append((source, output, weight, copies[key]))
        made.append(fst_file.arcs(rows))
    return fst_file.Fst(0, [fst.finals[state] for state, _ in queue], made)


def write_tables(folder: Path, words: dict[str, int]) -> None:
    """words.txt, phones.txt and phones/word_boundary.int."""
    (folder / "phones").mkdir(parents=True, exist_ok=True)
    (folder / "words.txt").write_text(
        "".join(f"{word} {index}\n" for word, index in words.items()), encoding="utf-8"
    )
    (folder / "phones.txt").write_text(
        "".join(f"{phone} {index}\n" for index, phone in enumerate(MARKED)), encoding="utf-8"
    )
    places = {"B": "begin", "I": "internal", "E": "end", "S": "singleton"}
    kinds = ["nonword" if name == SILENCE else places[name[-1]] for name in MARKED[1:]]
    (folder / "phones" / "word_boundary.int").write_text(
        "".join(f"{index} {kind}\n" for index, kind in enumerate(kinds, 1)), encoding="utf-8"
    )


@click.command(help=__doc__)
@click.argument("lexicon", type=click.Path(path_type=Path, exists=True))
@click.argument("arpa", type=click.Path(path_type=Path, exists=True))
@click.argument("model", type=click.Path(path_type=Path))
def main(lexicon: Path, arpa: Path, model: Path) -> None:
    began = time.monotonic()

    def say(text: str) -> None:
        click.echo(f"{time.monotonic() - began:5.0f} s  {text}")

    pronunciations = read_lexicon(lexicon)
    words = word_table(pronunciations)
    with tempfile.TemporaryDirectory() as folder:
        fst = with_loops(compose(pronunciations, arpa, words, Path(folder), say))
    write_tables(model / "graph", words)
    size = fst_file.write(model / "graph" / "HCLG.fst", fst)
    say(f"graph: {len(fst.arcs)} states, {size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
