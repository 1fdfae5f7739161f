"""The words that the recogniser knows, and how each may sound.

    TALKLOG_CORPORA=... python -m models.speech.lexicon [--words 25000] [--extra FILE ...]

writes models/speech/work/lexicon.tsv: word, phones, source, accent; one line a pronunciation,
at most three a word, sorted by word. The sources are those of ``pronunciations``; "guess" marks
what espeak-ng said, for a person to review.

The words are, always: those of the dictation grammar, of talklog's own vocabulary files, of the
hand-written lexicon, of the hand-written notes and of --extra notes. Then the most useful words
of the text corpora up to the given number, without names and words that only a guess could
pronounce. Those of left_out.txt are left out of all.
"""

from __future__ import annotations

import argparse
import hashlib
import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

from models.speech import corpus_text
from models.speech.dictation_grammar import Grammar
from models.speech.phones import PHONES
from models.speech.pronunciations import Pronouncer, Pronunciation

WORK = Path(__file__).parent / "work"
LEFT_OUT = Path(__file__).parent / "lexicon" / "left_out.txt"
TALKLOG_DATA = Path(__file__).parents[2] / "talklog" / "data"
# Keys of the vocabulary files whose text is not speech.
NOT_SPOKEN = frozenset({"ucum", "definition", "typed", "note", "si", "source", "text", "name"})
WORKSHOP_WEIGHT = 3  # one use in workshop text is worth so many in general text
NAME_SHARE = 0.6  # written with a capital inside sentences more often than this: a name
COMMON_NAME = 1000  # names are kept when they are as common as this
WORD = re.compile(r"[a-z]+(?:'[a-z]+)*")
CAPITAL = re.compile(r"(?<=[a-z,] )[A-Z][a-z']+|\b[A-Z]{2,}\b")
SHORT = 3  # words as short as this must stand in a dictionary of plain words: no abbreviations


def grammar_words() -> set[str]:
    return Grammar().words()


def talklog_words(folder: Path = TALKLOG_DATA) -> set[str]:
    """Words of talklog's vocabulary files that can be spoken."""
    found: set[str] = set()
    for path in sorted(folder.glob("*.toml")):
        for text in _strings(tomllib.loads(path.read_text(encoding="utf-8"))):
            found.update(word for word in WORD.findall(text.lower()) if _sayable(word))
    return found - set(corpus_text.spelling_table())


def _strings(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, list):
        for item in value:
            yield from _strings(item)
    elif isinstance(value, dict):
        for key, item in value.items():
            if key not in NOT_SPOKEN:
                yield key if isinstance(item, int | float) else ""
                yield from _strings(item)


def _sayable(word: str) -> bool:
    """Whether a vocabulary entry is a word: "kpa" and "mm" are written, not said."""
    return len(word) == 1 or bool(re.search("[aeiouy]", word))


def corpus_counts() -> tuple[Counter[str], set[str]]:
    """Weighted word counts over all corpora, and the words that are names."""
    counts: Counter[str] = Counter()
    plain: Counter[str] = Counter()
    capitals: Counter[str] = Counter()
    table = corpus_text.spelling_table()
    for corpus in corpus_text.WORKSHOP + corpus_text.GENERAL:
        workshop = corpus in corpus_text.WORKSHOP
        text = Counter()
        for sentence in corpus_text.raw_sentences(corpus):
            text.update(corpus_text.british(WORD.findall(sentence.lower()), table))
            capitals.update(word.lower() for word in CAPITAL.findall(sentence))
        plain += text
        for word, count in text.items():
            counts[word] += count * (WORKSHOP_WEIGHT if workshop else 1)
    rare = {word for word, count in plain.items() if count < COMMON_NAME}
    return counts, {word for word in rare if capitals[word] > NAME_SHARE * plain[word]}


def useful_words(counts: Counter[str], names: set[str], pronouncer: Pronouncer) -> list[str]:
    """Words of the corpora that dictionaries can pronounce, most used first, without names."""
    ranked = (word for word, _ in counts.most_common() if len(word) > 1 and word not in names)
    return [word for word in ranked if _in_dictionary(word, pronouncer)]


def left_out() -> frozenset[str]:
    """Digests of words of corpora and notes that the recogniser shall not know: names of makers."""
    lines = LEFT_OUT.read_text(encoding="utf-8").splitlines()
    return frozenset(line for line in lines if line and not line.startswith("#"))


def digest(word: str) -> str:
    """How a word stands in left_out.txt: the first 12 hexadecimal digits of its SHA-256."""
    return hashlib.sha256(word.encode()).hexdigest()[:12]


def _in_dictionary(word: str, pronouncer: Pronouncer) -> bool:
    if len(word) <= SHORT and not pronouncer.plain(word):
        return False
    return any(entry.source not in ("compound", "prefixed") for entry in pronouncer.known(word))


def build(words: Iterable[str], pronouncer: Pronouncer) -> dict[str, list[Pronunciation]]:
    """Pronunciations of every word, in order of the alphabet. Needs espeak-ng for guesses."""
    return {word: pronouncer.entries(word) for word in sorted(set(words))}


def write(lexicon: dict[str, list[Pronunciation]], path: Path) -> None:
    """Raises ValueError when a pronunciation is empty or has a phone that the model lacks."""
    lines = []
    for word, entries in lexicon.items():
        for entry in entries:
            if not entry.phones or not set(entry.phones) <= set(PHONES):
                raise ValueError(f"{word}: {entry.phones} is no pronunciation")
            lines.append(f"{word}\t{' '.join(entry.phones)}\t{entry.source}\t{entry.accent}\n")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("".join(lines), encoding="utf-8")


def read_words(path: Path) -> list[str]:
    """The words of a lexicon file, each once, in its order."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return list(dict.fromkeys(line.partition("\t")[0] for line in lines))


def needed_words(pronouncer: Pronouncer, extra: Iterable[Path] = ()) -> set[str]:
    """Words that the lexicon has whatever the corpora say."""
    notes = corpus_text.dictation([*corpus_text.NOTES, *extra])
    table = corpus_text.spelling_table()
    written = {word for words in notes for word in corpus_text.british(words, table)}
    return grammar_words() | talklog_words() | set(pronouncer.hand) | written


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--words", type=int, default=25_000)
    parser.add_argument("--extra", type=Path, nargs="*", default=[])
    parser.add_argument("--out", type=Path, default=WORK / "lexicon.tsv")
    options = parser.parse_args()
    pronouncer = Pronouncer()
    words = dict.fromkeys(sorted(needed_words(pronouncer, options.extra)))
    if corpus_text.folder():
        words |= dict.fromkeys(useful_words(*corpus_counts(), pronouncer))
    banned = left_out()
    kept = [word for word in words if digest(word) not in banned]
    lexicon = build(kept[: options.words], pronouncer)
    write(lexicon, options.out)
    sources = Counter(entry.source for entries in lexicon.values() for entry in entries)
    print(f"{len(lexicon)} words, {sum(sources.values())} pronunciations: {dict(sources)}")


if __name__ == "__main__":
    main()
