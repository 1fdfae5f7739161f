"""Step 3a: the base form of a verb as it was said: "topped up" -> "top up".

A form of the vocabulary's actions has the name that stands there; other verbs lose the ending of
their past or their "ing", and what has no such ending comes from ``data/verbs.toml``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from functools import lru_cache
from importlib.resources import files

from talklog.errors import DataFileError
from talklog.vocabulary import load

FILE = "verbs.toml"
VOWELS = "aeiou"
DOUBLED = "bdgklmnprt"  # consonants that are doubled before an ending: "fitted"
MUTE = (
    "c",
    "s",
    "v",
    "z",
    "u",
    "bl",
    "dl",
    "fl",
    "gl",
    "kl",
    "pl",
    "tl",
    "ng",
    "rg",
    "dg",
    "at",
    "ur",
)
PREFIXES = ("re", "un", "over", "under")  # of irregular verbs: "remade"
NOT_MUTE = ("ss", "ang", "ing", "ong", "ung", "eat", "oat")  # "pressed", "hanged", "heated"


def base_form(words: Sequence[str]) -> str:
    """The name in the vocabulary of a verb and its particles, else their base form: "took" "out" ->
    "take out"."""
    known = _known().get(tuple(words))
    if known is not None or not words:
        return known or ""
    first = _known().get((words[0],)) or plain_form(words[0])
    return " ".join((first, *words[1:]))


@lru_cache(maxsize=4096)
def plain_form(word: str) -> str:
    """The base form of one word, whatever the vocabulary calls it: "lubed" -> "lube"."""
    for start in ("", *PREFIXES):
        rest = word.removeprefix(start)
        if word.startswith(start) and rest in _irregular_forms():
            return start + _irregular_forms()[rest]
    if word.endswith("ied"):
        return f"{word[:-3]}y"
    for ending in ("ed", "ing"):
        if word.endswith(ending) and _spoken(word[: -len(ending)]):
            return _with_ending(word[: -len(ending)])
    return word


def may_be_past(word: str) -> bool:
    """Whether a word can be a verb's past form: "changed", "set"."""
    return plain_form(word) != word or word in _past_forms()


def _spoken(stem: str) -> bool:
    """Whether a stem can be a word: "ring" is no form of a verb "r"."""
    return len(stem) > 1 and any(letter in VOWELS + "y" for letter in stem)


def _with_ending(stem: str) -> str:
    """ "greas" -> "grease", "fitt" -> "fit", "bolt" -> "bolt"."""
    if stem[-1] == stem[-2] and stem[-1] in DOUBLED and stem not in _bases():
        long = sum(letter in VOWELS for letter in stem) > 1  # "levelled", but "pulled"
        return stem[:-1] if long or not stem.endswith("ll") else stem
    if f"{stem}e" in _bases():
        return f"{stem}e"
    if stem in _bases() or stem.endswith(NOT_MUTE):
        return stem
    return f"{stem}e" if stem.endswith(MUTE) or _is_short(stem) else stem


def _is_short(stem: str) -> bool:
    """One vowel and one consonant at its end, and no other vowel: "scrap" of "scraped"."""
    vowels = [letter in VOWELS for letter in stem]
    ends = len(stem) > 2 and vowels[-2] and not vowels[-1] and stem[-1] not in "wxy"
    return ends and sum(vowels) == 1


@lru_cache(maxsize=1)
def _known() -> dict[tuple[str, ...], str]:
    """Forms of the vocabulary's actions, as words -> their name."""
    return {phrase: name for name, phrases in load().actions.items() for phrase in phrases}


@lru_cache(maxsize=1)
def _irregular_forms() -> dict[str, str]:
    return {form: base for base, forms in _irregular() for form in (base, *forms)}


@lru_cache(maxsize=1)
def _past_forms() -> frozenset[str]:
    return frozenset(form for _, forms in _irregular() for form in forms)


@lru_cache(maxsize=1)
def _bases() -> frozenset[str]:
    return frozenset(load().actions) | {base for base, _ in _irregular()}


def _irregular() -> Iterator[tuple[str, list[str]]]:
    try:
        table = tomllib.loads((files("talklog") / "data" / FILE).read_text("utf-8"))
        yield from table["irregular"].items()
    except (tomllib.TOMLDecodeError, KeyError, AttributeError) as error:
        raise DataFileError(f"{FILE}: is no table of irregular verbs ({error})") from None
