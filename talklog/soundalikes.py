"""Words that are taken for each other by ear -> the values that a number may have been instead.

The groups stand in ``data/confusions.toml``. Knows no units and no bands.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from typing import Any

from talklog.errors import DataFileError
from talklog.numbers import Number, find_numbers
from talklog.transcript import Word

Phrase = tuple[str, ...]


def other_numbers(words: Sequence[Word]) -> tuple[Number, ...]:
    """What the words of one number would be with one of them exchanged for what sounds like it.

    "thirteen" -> 30; "nought point oh four" -> 0.4, 0.44 ... Word indices of the results are those
    of the changed words. Raises DataFileError when the table breaks the rules.
    """
    here = {number.value for number in _single(words)}
    found: dict[str, Number] = {}
    for changed in _changed(words):
        for number in _single(changed):
            if number.value not in here:
                found.setdefault(str(number.value.normalize()), number)
    return tuple(found.values())


def has_soundalike(text: str) -> bool:
    """Whether a word stands in the table."""
    return (text,) in _table().alike


def homophone(text: str) -> str:
    """ "to" -> "two": the number that a word sounds like, else the word."""
    return _table().homophones.get(text, text)


def _single(words: Sequence[Word]) -> tuple[Number, ...]:
    """The number that the words are as a whole, if they are one."""
    runs = find_numbers(words)
    if len(runs) != 1 or len(runs[0].readings[0]) != 1:
        return ()
    (number,) = runs[0].readings[0]
    whole = (number.first, number.last) == (0, len(words) - 1)
    return (number,) if whole and number.form != "unfinished" and number.high is None else ()


def _changed(words: Sequence[Word]) -> Iterator[list[Word]]:
    texts = [word.text for word in words]
    for phrase, others in _table().alike.items():
        for at in range(len(texts) - len(phrase) + 1 if phrase else 0):
            if tuple(texts[at : at + len(phrase)]) == phrase:
                for other in others:
                    put_in = [replace(words[at], text=text) for text in other]
                    yield [*words[:at], *put_in, *words[at + len(phrase) :]]


@dataclass(frozen=True, slots=True)
class Confusions:
    """``alike``: phrase -> the phrases it may be taken for; ``homophones``: word -> number word."""

    alike: dict[Phrase, tuple[Phrase, ...]]
    homophones: dict[str, str]


@lru_cache(maxsize=1)
def _table() -> Confusions:
    return parse_confusions((files("talklog") / "data" / "confusions.toml").read_text("utf-8"))


def parse_confusions(text: str) -> Confusions:
    """Raises DataFileError naming the group at fault."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DataFileError(f"confusions.toml: is not valid TOML ({error}); mend it") from None
    if set(data) != {"words", "homophones"} or set(data["words"]) != {"alike"}:
        raise DataFileError("confusions.toml: wants [words] with alike, and [homophones], no more")
    same = data["homophones"]
    if not all(isinstance(number, str) for number in same.values()):
        raise DataFileError("confusions.toml: a homophone is no text")
    return Confusions(_groups(data["words"]["alike"]), same)


def _groups(listed: list[Any]) -> dict[Phrase, tuple[Phrase, ...]]:
    found: dict[Phrase, dict[Phrase, None]] = {}
    for place, group in enumerate(listed, 1):
        if not isinstance(group, list) or len(set(map(str, group))) < 2:
            raise DataFileError(f"confusions.toml: group {place} needs two different spellings")
        if not all(isinstance(spelling, str) for spelling in group):
            raise DataFileError(f"confusions.toml: group {place} holds something that is no text")
        phrases = [tuple(spelling.split()) for spelling in group]
        for phrase in phrases:
            others = dict.fromkeys(other for other in phrases if other != phrase)
            found.setdefault(phrase, {}).update(others)
    return {phrase: tuple(others) for phrase, others in found.items()}
