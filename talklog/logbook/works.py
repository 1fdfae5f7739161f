"""Which words mean the same work: "change" and "renew" are one. Data: ``data/works.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

from talklog.errors import DataFileError

FILE = "works.toml"


@dataclass(frozen=True, slots=True)
class Works:
    """``verbs`` are base forms, ``words`` phrases of a thing to do; both -> kind of work."""

    verbs: dict[str, str]
    words: tuple[tuple[str, str], ...]  # longest first


def work_of_verb(verb: str) -> str:
    """The kind of work of a base form; a verb that is not filed is a kind of its own."""
    return load_works().verbs.get(verb, verb)


def work_of_text(text: str) -> str:
    """The kind of work that a thing to do speaks of: the first one named; empty if none is."""
    padded = f" {text} "
    places = ((padded.find(f" {phrase} "), work) for phrase, work in load_works().words)
    found = [(at, order, work) for order, (at, work) in enumerate(places) if at >= 0]
    return min(found)[2] if found else ""


@lru_cache(maxsize=1)
def load_works() -> Works:
    """The file of works. Raises DataFileError."""
    return parse_works((files("talklog") / "data" / FILE).read_text("utf-8"))


def parse_works(text: str) -> Works:
    """Raises DataFileError for an unknown key and for a word that stands under two works."""
    try:
        table: dict[str, Any] = tomllib.loads(text)["work"]
    except (tomllib.TOMLDecodeError, KeyError) as error:
        raise DataFileError(f"{FILE}: needs tables [work.NAME] ({error}); mend the file") from None
    verbs: dict[str, str] = {}
    words: dict[str, str] = {}
    for work, entry in table.items():
        if set(entry) != {"verbs", "words"}:
            raise DataFileError(f"{FILE}: [work.{work}] must have verbs and words, nothing else")
        for known, names in ((verbs, entry["verbs"]), (words, entry["words"])):
            for name in names:
                if known.setdefault(name, work) != work:
                    raise DataFileError(f"{FILE}: {name!r} stands under {known[name]} and {work}")
    return Works(verbs, tuple(sorted(words.items(), key=lambda pair: -len(pair[0]))))
