"""Sentences of the gathered text corpora, and of hand-written notes, as spoken words.

The corpora are not part of the repository: the environment variable TALKLOG_CORPORA names
the folder that holds text/NAME.txt.xz, one sentence a line. Sources and licences are listed
in the model card.
"""

import json
import lzma
import os
import re
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path

WORKSHOP = ("pg-workshop", "navedtra-construction-mechanic", "faa-incident-remarks")
GENERAL = ("common-voice-sentences", "nasa-air-ground", "tatoeba-en", "taskmaster")

# Notes written by hand as people speak: those of the extractor's corpus to learn from, and
# those to choose settings by (other authors).
HAND_WRITTEN = Path(__file__).parents[1] / "extractor" / "corpus"
NOTES = tuple(sorted((HAND_WRITTEN / "train").glob("*.toml")))
DEVELOPMENT = tuple(sorted((HAND_WRITTEN / "dev").glob("*.toml")))
SPELLINGS = Path(__file__).parent / "grammar" / "spellings.tsv"

WORD = re.compile(r"[a-z]+(?:'[a-z]+)*")
FIGURE = re.compile(r"\d+(?:,\d{3})+|\d+/\d+|\d*\.\d+|\d+(?:st|nd|rd|th)?|-?[a-z]+(?:'[a-z]+)*")
HAS_DIGIT = re.compile(r"\d")
SHOUTED = re.compile(r"\b[A-Z]{2,}\b")
# Marks that mean more than a pause: formulas, footnotes, speaker tags, tables.
FOREIGN = re.compile(r"[^\sA-Za-z0-9.,;:!?'\"()%/\-–—’‘“”°]|\d:\d|\w\(|[{}\[\]=+*_|<>~]")
DENOMINATORS = {2: "half", 3: "third", 4: "quarter", 5: "fifth", 6: "sixth", 8: "eighth"} | {
    10: "tenth", 12: "twelfth", 16: "sixteenth", 32: "thirty second", 64: "sixty fourth"
}  # fmt: skip


def folder() -> Path | None:
    """The corpora folder, or None when TALKLOG_CORPORA is unset or names no folder."""
    name = os.environ.get("TALKLOG_CORPORA")
    path = Path(name) if name else None
    return path if path and (path / "text").is_dir() else None


def raw_sentences(corpus: str) -> Iterator[str]:
    """Lines of one corpus as stored. Raises FileNotFoundError when the corpora are absent."""
    home = folder()
    if home is None:
        raise FileNotFoundError(
            "The text corpora are not here: set TALKLOG_CORPORA to the folder that holds text/."
        )
    with lzma.open(home / "text" / f"{corpus}.txt.xz", "rt", encoding="utf-8") as lines:
        for line in lines:
            yield line.strip()


def dictation(paths: Iterable[Path]) -> list[list[str]]:
    """All notes of files: plain text, one note a line, TOML with [[passage]] text, or what was read
    aloud in the training clips of an index that ``pack`` wrote (JSON lines).
    """
    return [WORD.findall(_lowered(note)) for path in paths for note in _notes(path)]


def _notes(path: Path) -> list[str]:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".toml":
        return [passage["text"] for passage in tomllib.loads(text)["passage"]]
    if path.suffix == ".jsonl":
        rows = map(json.loads, text.splitlines())
        return [row["text"] for row in rows if row["split"] == "train"]
    return [line for line in text.splitlines() if line.strip()]


def plain_words(sentence: str) -> list[str] | None:
    """Words of a sentence that can be read aloud as it stands; None when it cannot."""
    if HAS_DIGIT.search(sentence) or SHOUTED.search(sentence) or FOREIGN.search(sentence):
        return None
    return WORD.findall(_lowered(sentence))


def spoken_words(sentence: str) -> list[str] | None:
    """Words of a sentence with its figures spelled out; None when it cannot be read aloud."""
    if FOREIGN.search(sentence):
        return None
    text = _lowered(sentence).replace("°", " degrees ").replace("%", " percent ")
    words: list[str] = []
    for token in FIGURE.findall(text.replace("-", " ")):
        words += _spell(token) if token[0].isdigit() or token[0] == "." else [token]
    return words


def british(words: list[str], table: dict[str, str]) -> list[str]:
    """The words as the recogniser writes them: "tire" in a workshop is a tyre, "psi" p s i."""
    return [part for word in words for part in table.get(word, word).split()]


def spelling_table() -> dict[str, str]:
    """Other spellings -> the one that the recogniser writes (grammar/spellings.tsv)."""
    rows = SPELLINGS.read_text(encoding="utf-8").split("\n")
    return dict(row.split("\t") for row in rows if row and not row.startswith("#"))


def _lowered(sentence: str) -> str:
    return sentence.lower().replace("’", "'").replace("‘", "'")


def _spell(figure: str) -> list[str]:
    from num2words import num2words

    if "/" in figure:
        return _fraction(*map(int, figure.split("/")))
    if not figure[-1].isdigit():
        text = num2words(int(figure[:-2]), to="ordinal")
    elif figure.startswith("."):
        text = num2words(float(figure)).removeprefix("zero ")
    elif "." in figure:
        text = num2words(float(figure))
    else:
        text = num2words(int(figure.replace(",", "")))
    return WORD.findall(text)


def _fraction(above: int, below: int) -> list[str]:
    from num2words import num2words

    name = DENOMINATORS.get(below)
    if name is None:
        return WORD.findall(f"{num2words(above)} over {num2words(below)}")
    plural = "" if above == 1 else "ves" if below == 2 else "s"
    name = name.removesuffix("f") if below == 2 and above != 1 else name
    return WORD.findall(f"{num2words(above)} {name}{plural}")
