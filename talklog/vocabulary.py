"""The words of the trade, from text files that a mechanic can edit. Strictly loaded.

Every file lies in ``talklog/data``; an unknown key, a repeated phrase or a wrong type is refused
with the file and the entry named. Units are only read for their words here: their sizes are the
business of ``units``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

from talklog.errors import DataFileError

Phrase = tuple[str, ...]
CATEGORIES = frozenset(
    (
        "quoted_spec",
        "other_opinion",
        "intention",
        "hypothetical",
        "superseded",
        "as_found",
        "as_left",
        "set",
        "time_or_date",
        "part_size",
        "tool_size",
        "not_done",
        "follow_up",
        "caution",
        "meter",
        "part_needed",
        "part_fitted",
        "part_on_order",
        "terminator",
    )
)
_CUE_KEYS = {"category", "words", "direction", "scope"}


@dataclass(frozen=True, slots=True)
class UnitWords:
    """A unit's name, what it can measure (most usual first), and how it is said or written."""

    name: str
    quantities: tuple[str, ...]
    phrases: tuple[Phrase, ...]
    written: frozenset[str]  # symbols such as "A" and "N.m", exactly as written


@dataclass(frozen=True, slots=True)
class Cue:
    """A phrase that says what a number near it is. See ``data/cues.toml``."""

    category: str
    phrase: Phrase
    forward: bool
    scope: int


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Phrases by what they mean. Names map to the phrases that stand for them."""

    units: tuple[UnitWords, ...]
    components: dict[str, tuple[Phrase, ...]]
    positions: dict[str, tuple[Phrase, ...]]
    numbered: frozenset[str]
    quantities: dict[str, tuple[Phrase, ...]]
    actions: dict[str, tuple[Phrase, ...]]
    conditions: dict[str, tuple[Phrase, ...]]
    cues: tuple[Cue, ...]


@lru_cache(maxsize=1)
def load() -> Vocabulary:
    """All vocabulary files. Raises DataFileError for a file that breaks the rules."""
    places = _file("positions.toml", {"numbered", "fixed"})
    return Vocabulary(
        units=_units(_file("units.toml", {"unit"})["unit"]),
        components=_named("components.toml", "component", plural=True),
        positions=_phrases("positions.toml", places["fixed"], plural=False),
        numbered=frozenset(places["numbered"]),
        quantities=_named("quantities.toml", "quantity", plural=False),
        actions=_named("actions.toml", "action", plural=False),
        conditions={
            text: (phrase(text),) for text in _file("conditions.toml", {"conditions"})["conditions"]
        },
        cues=parse_cues(_file("cues.toml", {"cue"})["cue"]),
    )


def phrase(text: str) -> Phrase:
    """ "front-left" -> ("front", "left")."""
    return tuple(text.lower().replace("-", " ").split())


def parse_cues(tables: Iterable[dict[str, Any]]) -> tuple[Cue, ...]:
    """The cues of ``cues.toml``. Raises DataFileError naming the entry that is wrong."""
    cues = []
    for number, table in enumerate(tables, 1):
        _only(table, _CUE_KEYS, f"cues.toml, cue {number}")
        if table.get("category") not in CATEGORIES:
            raise DataFileError(
                f"cues.toml, cue {number}: category {table.get('category')!r} is "
                f"unknown; use one of {', '.join(sorted(CATEGORIES))}"
            )
        if table.get("direction") not in ("forward", "backward"):
            raise DataFileError(f"cues.toml, cue {number}: direction must be forward or backward")
        cues += [
            Cue(
                table["category"],
                phrase(text),
                table["direction"] == "forward",
                int(table["scope"]),
            )
            for text in table["words"]
        ]
    return tuple(cues)


def _file(name: str, allowed: set[str]) -> dict[str, Any]:
    try:
        data = tomllib.loads((files("talklog") / "data" / name).read_text("utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise DataFileError(f"{name}: is not valid TOML ({error}); mend that line") from None
    _only(data, allowed, name)
    missing = allowed - set(data)
    if missing:
        raise DataFileError(f"{name}: {', '.join(sorted(missing))} is missing")
    return data


def _only(table: dict[str, Any], allowed: set[str], where: str) -> None:
    if extra := set(table) - allowed:
        raise DataFileError(
            f"{where}: unknown key {', '.join(sorted(extra))}; "
            f"allowed are {', '.join(sorted(allowed))}"
        )


def _named(name: str, table: str, *, plural: bool) -> dict[str, tuple[Phrase, ...]]:
    return _phrases(name, _file(name, {table})[table], plural=plural)


def _phrases(
    name: str, table: dict[str, list[str]], *, plural: bool
) -> dict[str, tuple[Phrase, ...]]:
    seen: dict[Phrase, str] = {}
    result = {}
    for entry, others in table.items():
        forms: dict[Phrase, None] = {}
        for text in (entry, *others):
            forms[phrase(text)] = None
            if plural:
                forms[(*phrase(text)[:-1], phrase(text)[-1] + "s")] = None
        for form in forms:
            if seen.setdefault(form, entry) != entry and not plural:
                raise DataFileError(
                    f"{name}: {' '.join(form)!r} stands under {seen[form]!r} and "
                    f"{entry!r}; keep one"
                )
        result[entry] = tuple(form for form in forms if seen[form] == entry)
    return result


def _units(tables: Iterable[dict[str, Any]]) -> tuple[UnitWords, ...]:
    return tuple(
        UnitWords(
            table["name"],
            tuple(table["quantities"]),
            tuple(dict.fromkeys(map(phrase, table["spoken"]))),
            frozenset(table.get("typed", ())),
        )
        for table in tables
    )
