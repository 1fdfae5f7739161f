"""Text files of words -> phrases, cues, shapes, habits. Strictly: an unknown key, a repeated phrase
or a wrong type is refused with the file and the entry named."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from importlib.resources import files
from itertools import product
from typing import Any

from talklog.errors import DataFileError
from talklog.nouns import singular
from talklog.word_kinds import (
    CATEGORIES,
    DIRECTIONS,
    NUMBER,
    SHAPES,
    TARGETS,
    Cue,
    Phrase,
    Shape,
    Trade,
    UnitWords,
)

_CUE_KEYS = {"category", "words", "direction", "scope", "targets", "firm"}
_HABIT_KEYS = {"quantity", "units", "components"}
_TRADE_KEYS = {"words", "shown_by", "not_with"}


def phrase(text: str) -> Phrase:
    """ "front-left" -> ("front", "left")."""
    return tuple(text.lower().replace("-", " ").split())


def choices(text: str) -> Iterator[Phrase]:
    """ "half|quarter past (about) #" -> its four phrases. "|" parts choices of one word, brackets
    hold what may be left out."""
    slots = []
    for piece in re.findall(r"\([^)]*\)|\S+", text.lower()):
        words = [tuple(choice.split()) for choice in piece.strip("()").split("|")]
        slots.append([*words, ()] if piece.startswith("(") else words)
    for chosen in product(*slots):
        yield tuple(word for part in chosen for word in part)


def plural(text: str) -> str:
    """The regular plural of a noun: "battery" -> "batteries", "bush" -> "bushes"."""
    if text.endswith(("s", "x", "ch", "sh")):
        return text + "es"
    if text.endswith("y") and text[-2:-1] not in ("", *"aeiou"):
        return text[:-1] + "ies"
    return text + "s"


def parse_cues(tables: Iterable[dict[str, Any]]) -> tuple[Cue, ...]:
    """The cues of ``cues.toml``. Raises DataFileError naming the entry that is wrong."""
    cues = []
    for number, table in enumerate(tables, 1):
        where = f"cues.toml, cue {number}"
        _only(table, _CUE_KEYS, where)
        if missing := {"category", "words", "direction", "scope"} - set(table):
            raise DataFileError(f"{where}: {', '.join(sorted(missing))} is missing")
        _one_of(table["category"], sorted(CATEGORIES), f"{where}: category")
        _one_of(table["direction"], DIRECTIONS, f"{where}: direction")
        targets = table.get("targets", "any")
        _one_of(targets, TARGETS, f"{where}: targets")
        cues += [
            Cue(
                table["category"],
                phrase(text),
                table["direction"],
                int(table["scope"]),
                targets,
                bool(table.get("firm", True)),
            )
            for text in table["words"]
        ]
    return tuple(cues)


def parse_shapes(tables: Iterable[dict[str, Any]]) -> tuple[Shape, ...]:
    """The shapes of ``shapes.toml``, longest first. Raises DataFileError for a wrong entry."""
    shapes = []
    for number, table in enumerate(tables, 1):
        where = f"shapes.toml, shape {number}"
        _only(table, {"why", "words"}, where)
        _one_of(table.get("why"), SHAPES, f"{where}: why")
        for form in (form for text in table.get("words", ()) for form in choices(text)):
            if NUMBER not in form or len(form) < 2:
                raise DataFileError(f"{where}: {' '.join(form)!r} needs a # and a word beside it")
            shapes.append(Shape(table["why"], form))
    return tuple(sorted(dict.fromkeys(shapes), key=lambda s: (-len(s.words), s.words)))


def parse_forms(name: str, texts: Iterable[str]) -> tuple[Phrase, ...]:
    """Forms of words around a number: "#volume low". Raises DataFileError for one without."""
    forms = tuple(dict.fromkeys(form for text in texts for form in choices(text)))
    for form in forms:
        if len(form) < 2 or not any(piece.startswith(NUMBER) for piece in form):
            raise DataFileError(f"{name}: {' '.join(form)!r} needs a # and a word beside it")
    return forms


def parse_trades(tables: Iterable[dict[str, Any]]) -> dict[Phrase, Trade]:
    """The trades of ``components.toml`` by their short words. Raises DataFileError for an unknown
    key or a word that stands in two."""
    trades: dict[Phrase, Trade] = {}
    for number, table in enumerate(tables, 1):
        where = f"components.toml, trade {number}"
        _only(table, _TRADE_KEYS, where)
        if missing := _TRADE_KEYS - set(table):
            raise DataFileError(f"{where}: {', '.join(sorted(missing))} is missing")
        shown, against = (
            frozenset(tuple(map(singular, phrase(text))) for text in table[key])
            for key in ("shown_by", "not_with")
        )
        for word in map(phrase, table["words"]):
            if word in trades:
                raise DataFileError(f"{where}: {' '.join(word)!r} stands in another trade too")
            trades[word] = Trade(shown, against)
    return trades


def parse_habits(
    tables: Iterable[dict[str, Any]], components: frozenset[str]
) -> dict[tuple[str, str], str]:
    """(component, unit) -> quantity. Raises DataFileError for an unknown key or a pair given two
    quantities; names that are compounds ("deck belt") need not be components."""
    habits: dict[tuple[str, str], str] = {}
    for number, table in enumerate(tables, 1):
        where = f"quantities.toml, habit {number}"
        _only(table, _HABIT_KEYS, where)
        for component in table["components"]:
            if component not in components:
                raise DataFileError(
                    f"{where}: {component!r} is no name in components.toml; use its first name"
                )
            for unit in table["units"]:
                if habits.setdefault((component, unit), table["quantity"]) != table["quantity"]:
                    raise DataFileError(f"{where}: {component} in {unit} has another quantity too")
    return habits


def parse_phrases(
    name: str, table: Mapping[str, list[str]], *, plural: bool = False
) -> dict[str, tuple[Phrase, ...]]:
    """Each name with all its forms. A form of one name that is the plural of another's stays with
    the one that says it outright. Raises DataFileError for a form that stands under two names."""
    owner: dict[Phrase, str] = {}
    for entry, others in table.items():
        for form in map(phrase, dict.fromkeys((entry, *others))):
            if owner.setdefault(form, entry) != entry:
                raise DataFileError(
                    f"{name}: {' '.join(form)!r} stands under {owner[form]!r} and "
                    f"{entry!r}; keep one"
                )
    if plural:
        for form, entry in list(owner.items()):
            owner.setdefault(_plural_phrase(form), entry)
    forms: dict[str, list[Phrase]] = {entry: [] for entry in table}
    for form, entry in owner.items():
        forms[entry].append(form)
    return {entry: tuple(found) for entry, found in forms.items()}


def _plural_phrase(form: Phrase) -> Phrase:
    return (*form[:-1], plural(form[-1]))


def parse_units(
    tables: Iterable[dict[str, Any]], becomes: Mapping[str, Mapping[str, str]]
) -> tuple[UnitWords, ...]:
    return tuple(
        UnitWords(
            table["name"],
            (*table["quantities"], *becomes.get(table["name"], ())),
            tuple(dict.fromkeys(map(phrase, table["spoken"]))),
            frozenset(table.get("typed", ())),
        )
        for table in tables
    )


def longest_first(texts: Iterable[str]) -> tuple[Phrase, ...]:
    return tuple(sorted(map(phrase, texts), key=len, reverse=True))


def read_words(name: str, allowed: set[str]) -> dict[str, Any]:
    try:
        data = tomllib.loads((files("talklog") / "data" / name).read_text("utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise DataFileError(f"{name}: is not valid TOML ({error}); mend that line") from None
    _only(data, allowed, name)
    missing = allowed - set(data)
    if missing:
        raise DataFileError(f"{name}: {', '.join(sorted(missing))} is missing")
    return data


def _one_of(value: object, allowed: Iterable[str], where: str) -> None:
    allowed = tuple(allowed)
    if value not in allowed:
        raise DataFileError(f"{where} {value!r} is unknown; use one of {', '.join(allowed)}")


def _only(table: Mapping[str, Any], allowed: set[str], where: str) -> None:
    if extra := set(table) - allowed:
        raise DataFileError(
            f"{where}: unknown key {', '.join(sorted(extra))}; "
            f"allowed are {', '.join(sorted(allowed))}"
        )
