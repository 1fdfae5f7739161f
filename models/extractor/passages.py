"""The hand-written notes of ``corpus/`` with their annotations, as plain data with word spans.

``also`` of an annotation holds fields that are as right as its own: where two annotators differed
and a third found that a fair reader would accept either ("" for none).

Strictly loaded: an unknown key, words that do not stand in the text or a number that is no decimal
string stop the reading with the file and the passage named.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

CORPUS = Path(__file__).parent / "corpus"
SPLITS = ("train", "dev", "check", "test")
LISTS = (
    "readings",
    "set_aside",
    "actions",
    "parts",
    "findings",
    "follow_ups",
    "cautions",
    "unsure",
)
_KEYS = {
    "readings": {"value", "unit", "quantity", "component", "position", "condition", "role"},
    "set_aside": {"why"},
    "actions": {"verb", "component", "position", "done"},
    "parts": {"name", "quantity", "status"},
    "findings": {"component", "position", "condition"},
    "follow_ups": {"what", "component", "due"},
    "cautions": {"text"},
    "unsure": {"why"},
    "meter": {"value", "unit"},
    "pauses": {"short", "long"},
}
SECONDS = {"short": 0.3, "long": 0.8}  # of a pause, as a comma and a full stop of typed text count


@dataclass(frozen=True, slots=True)
class Item:
    """One annotation: its inclusive span of words and its fields as written in the file."""

    first: int
    last: int
    fields: Mapping[str, Any]

    def __getitem__(self, name: str) -> Any:
        return self.fields.get(name)

    def accepted(self, name: str) -> tuple[Any, ...]:
        """Every value of a field that counts as right."""
        also = self.fields.get("also", {})
        return (self[name], also[name] or None) if name in also else (self[name],)


@dataclass(frozen=True, slots=True)
class Passage:
    """One note. ``lists`` has an entry for each name of LISTS; ``source`` is "author-trade".
    ``pauses``: seconds before each word, where a reader heard him pause; empty if none was asked.
    """

    id: str
    source: str
    words: tuple[str, ...]
    lists: Mapping[str, tuple[Item, ...]]
    meter: Item | None
    pauses: tuple[float, ...] = ()

    @property
    def text(self) -> str:
        return " ".join(self.words)


class CorpusError(ValueError):
    """A corpus file breaks the rules; the text names the file and the passage."""


def load_split(split: str, *, folder: Path = CORPUS, paused: bool = False) -> tuple[Passage, ...]:
    """All passages of "train", "dev" or "test", in the order of the file names; as words alone
    unless they shall come with their pauses."""
    paths = sorted((folder / split).glob("*.toml"))
    if not paths:
        raise CorpusError(f"{folder / split}: no passages; the splits are {', '.join(SPLITS)}")
    found = (passage for path in paths for passage in load_file(path))
    return tuple(passage if paused else replace(passage, pauses=()) for passage in found)


def load_file(path: Path) -> Iterator[Passage]:
    """The passages of one file. Raises CorpusError."""
    try:
        table = tomllib.loads(path.read_text("utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise CorpusError(f"{path.name}: is not valid TOML ({error})") from None
    _only(table, {"author", "trade", "voice", "passage"}, path.name)
    for entry in table["passage"]:
        yield _passage(entry, source=path.stem)


def _passage(entry: Mapping[str, Any], *, source: str) -> Passage:
    where = f"{source}: {entry.get('id', 'passage without id')}"
    _only(entry, {"id", "text", "meter", "pauses", *LISTS}, where)
    words = tuple(entry["text"].split())
    lists = {
        name: tuple(_item(fields, name, words, where) for fields in entry.get(name, ()))
        for name in LISTS
    }
    meter = entry.get("meter")
    return Passage(
        entry["id"],
        source,
        words,
        lists,
        _item(meter, "meter", words, where) if meter else None,
        _pauses(entry.get("pauses", {}), len(words), where),
    )


def _pauses(kinds: Mapping[str, Any], length: int, where: str) -> tuple[float, ...]:
    """``kinds``: "short" and "long" -> the places of the words, from 0, before which he pauses."""
    _only(kinds, _KEYS["pauses"], f"{where}: pauses")
    found = [0.0] * length if kinds else []
    for kind, places in kinds.items():
        for at in places:
            if not 0 < at < length or found[at]:
                raise CorpusError(f"{where}: pauses: no word {at}, or it has a pause already")
            found[at] = SECONDS[kind]
    return tuple(found)


def _item(fields: Mapping[str, Any], name: str, words: tuple[str, ...], where: str) -> Item:
    _only(fields, {"said", "nth", "also", *_KEYS[name]}, f"{where}: {name}")
    _only(fields.get("also", {}), _KEYS[name], f"{where}: {name}: also")
    if "value" in fields:
        try:
            Decimal(fields["value"])
        except InvalidOperation:
            raise CorpusError(f"{where}: {fields['value']!r} is no decimal number") from None
    said = fields["said"].split()
    starts = [at for at in range(len(words)) if list(words[at : at + len(said)]) == said]
    nth = fields.get("nth", 1)
    if len(starts) < nth or not said:
        raise CorpusError(f"{where}: {name}: {fields['said']!r} (nth = {nth}) is not in the text")
    return Item(starts[nth - 1], starts[nth - 1] + len(said) - 1, dict(fields))


def _only(table: Mapping[str, Any], allowed: set[str], where: str) -> None:
    if extra := set(table) - allowed:
        names = f"{', '.join(sorted(extra))}; allowed: {', '.join(sorted(allowed))}"
        raise CorpusError(f"{where}: unknown key {names}")
