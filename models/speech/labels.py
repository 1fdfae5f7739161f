"""What is said in clips, as phones: the labels of training.

    python -m models.speech.labels clips INDEX.jsonl BLOB.labels.jsonl [--synthetic NAME ...]
    python -m models.speech.labels words PROMPTS.txt LABELS.tsv --tables MISAKI_DATA

``clips`` turns an index of ``pack`` into labels as the module ``clips`` reads them. Texts that
cannot be read aloud as they stand get no phones, which keeps them out of training. Corpora named
by --synthetic count as synthetic speech, not as people.

``words`` writes what ``synthetic_speech prepare --lexicon`` wants: each word of the prompts with
its American and its British phones. Of a word's pronunciations it takes the one nearest to what
the synthesiser says, or what that says when none is near.

Both need what ``lexicon`` needs.
"""

from __future__ import annotations

import json
from pathlib import Path

import click
from rapidfuzz.distance import Levenshtein

from . import corpus_text, synthetic_speech
from .phonetic_symbols import arpabet
from .pronunciations import Pronouncer

ACCENTS = ("us", "gb")
FAR = 0.34  # share of wrong phones from which on a pronunciation is another one


def phones_of(text: str, accent: str, pronouncer: Pronouncer) -> str:
    """Phones with spaces; empty when the text cannot be read aloud. Accents: "en-gb", "en-us"."""
    words = corpus_text.spoken_words(text)
    return " ".join(pronouncer.pronounce(words, "gb" if "gb" in accent else "us")) if words else ""


def said(word: str, accent: str, pronouncer: Pronouncer, sound: str) -> tuple[str, ...]:
    """The pronunciation nearest to the synthesiser's sound, else that sound itself."""
    spoken = arpabet(sound, accent, word)
    usual = pronouncer.by_accent(word, accent)
    ways = [usual, *(e.phones for e in pronouncer.entries(word) if e.accent in (accent, "any"))]
    best = min(ways, key=lambda way: Levenshtein.distance(way, spoken))
    return best if Levenshtein.distance(best, spoken) <= FAR * len(best) + 0.5 else spoken


@click.group(help=__doc__)
def main() -> None:
    pass


@main.command()
@click.argument("index", type=click.Path(path_type=Path, exists=True))
@click.argument("labels", type=click.Path(path_type=Path))
@click.option("--synthetic", multiple=True, help="Corpus of synthetic speech; repeat.")
def clips(index: Path, labels: Path, synthetic: tuple[str, ...]) -> None:
    pronouncer = Pronouncer()
    with labels.open("w", encoding="utf-8") as file:
        for row in map(json.loads, index.read_text(encoding="utf-8").splitlines()):
            label = {name: row[name] for name in ("corpus", "speaker", "split", "at", "bytes")}
            label["ph"] = phones_of(row["text"], row["accent"], pronouncer)
            if row["corpus"] in synthetic:
                label["corpus"] = synthetic_speech.SYNTHETIC
            file.write(json.dumps(label) + "\n")


@main.command()
@click.argument("prompts", type=click.Path(path_type=Path, exists=True))
@click.argument("labels", type=click.Path(path_type=Path))
@click.option("--tables", type=click.Path(path_type=Path), required=True, help="misaki/data")
def words(prompts: Path, labels: Path, tables: Path) -> None:
    pronouncer = Pronouncer()
    voices = {accent: synthetic_speech.Pronouncer(tables, accent) for accent in ACCENTS}
    with labels.open("w", encoding="utf-8") as file:
        for word in sorted(set(prompts.read_text(encoding="utf-8").split())):
            ways = [said(word, accent, pronouncer, voices[accent].word(word)) for accent in ACCENTS]
            file.write("\t".join([word, *map(" ".join, ways)]) + "\n")


if __name__ == "__main__":
    main()
