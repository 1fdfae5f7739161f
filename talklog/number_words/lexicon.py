"""``data/numbers.toml`` -> the class and the value of each number word. Strictly loaded."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib.resources import files
from typing import Any

from talklog.errors import DataFileError

Meaning = tuple[str, int]  # class of a word, and its value

# Tables of words, of neighbours that stop a word from being a number, and what must be in them.
_VALUED = ("value", "scale", "part", "repeat")
_LISTS = {
    "unit_like": {"words"},
    "not_part": {"before", "after"},
    "pronoun": {"before", "beside", "after"},
    "noun_point": {"before"},
    "name": {"words", "not_before"},
    "bound": {"words", "comparing"},
}
_CLASSES = {"oh", "point", "minus", "and", "to", "article", "of", "first", "second", "couple"}
_CLASSES |= {"dozen", "filler"}
_TABLES = {*_VALUED, "class", *_LISTS}


@dataclass(frozen=True)
class Lexicon:
    """The meaning of each word, and the lists by "table.entry": "not_part.before"."""

    kinds: dict[str, Meaning]
    lists: dict[str, frozenset[str]]

    @cached_property
    def names(self) -> tuple[tuple[str, ...], ...]:
        """Names with a number word in them, word by word: ("co", "two")."""
        return tuple(sorted(tuple(name.split()) for name in self.lists["name.words"]))


@lru_cache(maxsize=1)
def lexicon() -> Lexicon:
    """The words that come with talklog. Raises DataFileError when a table or entry is amiss."""
    return parse_lexicon((files("talklog") / "data" / "numbers.toml").read_text("utf-8"))


def parse_lexicon(text: str) -> Lexicon:
    """The same from the text of such a file."""
    data = tomllib.loads(text)
    _require(set(data), _TABLES, "tables")
    _require(set(data["class"]), _CLASSES, "entries of [class]")
    kinds = _meanings(data)
    for name, keys in _LISTS.items():
        _require(set(data[name]), keys, f"entries of [{name}]")
    lists = {f"{name}.{key}": frozenset(data[name][key]) for name in _LISTS for key in data[name]}
    return Lexicon(kinds, lists)


def _meanings(data: Mapping[str, Any]) -> dict[str, Meaning]:
    kinds: dict[str, Meaning] = {}
    for table in _VALUED:
        for word, value in data[table].items():
            _once(kinds, word, (table, value))
    for kind, members in data["class"].items():
        for word in members:
            _once(kinds, word, (kind, 0))
    return kinds | {word: (_value_kind(value), value) for word, value in data["value"].items()}


def _once(kinds: dict[str, Meaning], word: str, meaning: Meaning) -> None:
    if word in kinds or not isinstance(meaning[1], int):
        raise DataFileError(f"numbers.toml: {word!r} stands there twice, or is no whole number.")
    kinds[word] = meaning


def _require(found: set[str], wanted: set[str], what: str) -> None:
    if found != wanted:
        wrong = ", ".join(sorted(found ^ wanted))
        raise DataFileError(
            f"numbers.toml: {what} must be exactly {', '.join(sorted(wanted))}; check {wrong}."
        )


def _value_kind(value: int) -> str:
    if value == 0:
        return "zero"
    return "unit" if value < 10 else "teen" if value < 20 else "tens"
