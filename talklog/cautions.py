"""Step 5b: the cautions that careful people write on such a job. Knows no bands or verdicts.

Which words and readings bring which line stands in ``data/cautions.toml``. No line ever holds a
number: a caution that brought in a figure of its own would be a limit that nobody gave.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from typing import Any

from talklog.errors import DataFileError
from talklog.notes import Notes
from talklog.trades import dictionary_name
from talklog.transcript import Transcript
from talklog.typed import split_words

SPEAKER, TALKLOG = "speaker", "talklog"
_KEYS = {"work", "line", "source", "words", "except", "quantities"}
_ALWAYS_KEYS = {"with_sheet", "without_sheet", "source"}


@dataclass(frozen=True, slots=True)
class Caution:
    """A line for the record, and who it comes from: "speaker" or "talklog"."""

    text: str
    origin: str


@dataclass(frozen=True, slots=True)
class Rule:
    """One ``[[caution]]``: its line and what brings it. Phrases are tuples of words."""

    work: str
    line: str
    source: str
    words: tuple[tuple[str, ...], ...]
    exceptions: tuple[tuple[str, ...], ...] = ()
    quantities: tuple[str, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class CautionBook:
    """All rules, and the line that stands in every record."""

    rules: tuple[Rule, ...]
    with_sheet: str
    without_sheet: str


def find_cautions(
    transcript: Transcript, notes: Notes, *, sheet: str | None = None
) -> tuple[Caution, ...]:
    """What the speaker warned of, then the usual lines for this kind of work, then the line on
    whose limits are shown (``sheet`` is the name of the band sheet, ``None`` if there is none).

    "jacked up the rear and changed the pads" -> the lines for lifting and for brakes.
    """
    book = load_cautions()
    spoken = [Caution(caution.text, SPEAKER) for caution in notes.cautions]
    words = [word.text for word in transcript.words]
    lines = [rule.line for rule in book.rules if _applies(rule, words, notes)]
    always = book.with_sheet.format(sheet=sheet) if sheet else book.without_sheet
    return (*spoken, *(Caution(line, TALKLOG) for line in (*lines, always)))


def _applies(rule: Rule, words: Sequence[str], notes: Notes) -> bool:
    if any(reading.quantity in rule.quantities for reading in notes.readings):
        return True
    named = [split_words(name) for name in _named(notes)]
    return any(_says(rule, said) for said in (words, *named))


def _named(notes: Notes) -> Iterable[str]:
    """Names of things in their dictionary form, which may differ from the words said."""
    items = (*notes.readings, *notes.actions, *notes.findings)
    names = [*(item.component for item in items), *(part.name for part in notes.parts)]
    return dict.fromkeys(map(dictionary_name, names))


def _says(rule: Rule, words: Sequence[str]) -> bool:
    """Is a phrase of the rule said, outside the phrases in which it means something else?"""
    hidden = {at for phrase in rule.exceptions for span in _spans(phrase, words) for at in span}
    found = (span for phrase in rule.words for span in _spans(phrase, words))
    return any(not hidden.issuperset(span) for span in found)


def _spans(phrase: tuple[str, ...], words: Sequence[str]) -> Iterable[range]:
    size = len(phrase)
    for first in range(len(words) - size + 1):
        said = words[first : first + size]
        if said[-1] in (phrase[-1], f"{phrase[-1]}s") and tuple(said[:-1]) == phrase[:-1]:
            yield range(first, first + size)


@lru_cache(maxsize=1)
def load_cautions() -> CautionBook:
    """The rules that come with talklog. Raises DataFileError for a broken file."""
    return parse_cautions((files("talklog") / "data" / "cautions.toml").read_text("utf-8"))


def parse_cautions(text: str, *, where: str = "cautions.toml") -> CautionBook:
    """Rules of a TOML text. Raises DataFileError naming the entry that breaks a rule."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DataFileError(f"{where}: not valid TOML: {error}") from error
    _check_keys(data, {"always", "caution"}, {"always", "caution"}, where)
    always = data["always"]
    _check_keys(always, _ALWAYS_KEYS, _ALWAYS_KEYS, f"{where}, [always]")
    rules = [_rule(entry, f"{where}, caution {n}") for n, entry in enumerate(data["caution"], 1)]
    works = [rule.work for rule in rules]
    for work in works:
        if works.count(work) > 1:
            raise DataFileError(f"{where}: {work!r} stands twice; make one entry of them.")
    lines = {key: _line(always[key], f"{where}, [always]") for key in _ALWAYS_KEYS - {"source"}}
    if "{sheet}" not in lines["with_sheet"]:
        raise DataFileError(f"{where}, [always]: with_sheet must name the {{sheet}}.")
    return CautionBook(tuple(rules), **lines)


def _rule(entry: dict[str, Any], where: str) -> Rule:
    _check_keys(entry, _KEYS, _KEYS - {"except", "quantities"}, where)
    for key in ("words", "except", "quantities"):
        value = entry.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise DataFileError(f"{where}: {key} must be a list of texts.")
    return Rule(
        work=entry["work"],
        line=_line(entry["line"], where),
        source=entry["source"],
        words=tuple(map(split_words, entry["words"])),
        exceptions=tuple(map(split_words, entry.get("except", []))),
        quantities=tuple(entry.get("quantities", [])),
    )


def _line(text: str, where: str) -> str:
    if any(char.isnumeric() for char in text):
        raise DataFileError(f"{where}: the line holds a number; limits come from band sheets only.")
    return text


def _check_keys(table: dict[str, Any], allowed: set[str], needed: set[str], where: str) -> None:
    unknown, missing = set(table) - allowed, needed - set(table)
    if unknown or missing:
        raise DataFileError(
            f"{where}: unknown {sorted(unknown)}, missing {sorted(missing)}; "
            f"allowed are {', '.join(sorted(allowed))}."
        )
