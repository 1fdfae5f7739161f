"""The words of the trade, from text files that a mechanic can edit. Strictly loaded.

Every file lies in ``talklog/data``; an unknown key, a repeated phrase or a wrong type is refused
with the file and the entry named. Units are only read for their words here: their sizes are the
business of ``units``.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from itertools import product
from typing import Any

from talklog.errors import DataFileError
from talklog.nouns import singular

Phrase = tuple[str, ...]
NUMBER = "#"  # stands for a number in a shape
SHAPES = ("part_size", "tool_size", "time_or_date", "count")
Phrases = Mapping[str, tuple[Phrase, ...]]

# Cues that say what a number is: the nearest that reaches a number decides its role.
ROLE_CUES = (
    "quoted_spec",
    "other_opinion",
    "intention",
    "hypothetical",
    "tool_size",
    "part_size",
    "time_or_date",
    "count",
    "denied",
    "meter",
    "as_found",
    "as_left",
    "set",
    "measured",
)
PART_CUES = ("part_needed", "part_fitted", "part_on_order", "part_missing", "part_reused")
NO_PART = "part_not_fitted"  # younger than the trained reader, which does not know it
CATEGORIES = frozenset(
    (
        *ROLE_CUES,
        *PART_CUES,
        NO_PART,
        "superseded",
        "not_done",
        "follow_up",
        "caution",
        "terminator",
        "pseudo",
    )
)
DIRECTIONS = ("forward", "backward", "both")
TARGETS = ("any", "length", "sized", "time", "bare", "unit", "base", "dated")
_CUE_KEYS = {"category", "words", "direction", "scope", "targets", "firm"}
_SMALL_WORDS = {
    "listing",
    "past_before",
    "past_behind",
    "set_as_quoted",
    "left_as_quoted",
    "particles",
    "before_names",
    "joins",
    "along",
    "also",
    "newness",
    "denials",
    "pairs",
    "behind_counts",
    "stand_ins",
    "negations",
    "refusals",
    "nothing",
    "gone",
    "never_last",
    "never_ends",
    "no_names",
    "rivals",
    "left_open",
    "together",
    "no_units",
    "before_turns",
    "below_nothing",
    "same",
    "of_places",
    "distrusted_before",
    "distrusted_behind",
    "orders",
    "forbids",
    "forbidden",
    "tellers",
    "people",
    "no_states",
    "never_states",
    "between_negations",
    "perhaps",
    "perhaps_been",
    "wanted",
    "open_states",
    "symptoms",
    "cured",
    "cured_over",
    "objects",
}
_DUES = {"events", "past", "lasting", "opening", "calendar", "tails", "stretches", "durations"}
_WORK_PHRASES = ("left_undone", "not_reached", "others", "taken_back", "exceptions", "makeshift")
_WORK_WORDS = ("checking", "removing", "auxiliaries", "moving", "of_themselves")
_HABIT_KEYS = {"quantity", "units", "components"}
_THINGS = {"component", "heads", "numbered", "wearing", "liquid", "as_said", "trade", "false"}
_TRADE_KEYS = {"words", "shown_by", "not_with"}


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
    direction: str
    scope: int
    targets: str = "any"
    firm: bool = True

    @property
    def forward(self) -> bool:
        return self.direction != "backward"

    @property
    def backward(self) -> bool:
        return self.direction != "forward"


@dataclass(frozen=True, slots=True)
class Shape:
    """Words around numbers that make a size, a date or a count: see ``data/shapes.toml``."""

    why: str
    words: Phrase


@dataclass(frozen=True, slots=True)
class Trade:
    """Words that a note must hold for a short word of many trades to be of this one, and words
    that it must not hold: see ``data/components.toml``."""

    shown_by: frozenset[Phrase]
    not_with: frozenset[Phrase]


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Phrases by what they mean. Names map to the phrases that stand for them."""

    units: tuple[UnitWords, ...]
    components: Phrases
    component_names: frozenset[str]  # their names and the forms that records keep
    not_things: tuple[Phrase, ...]  # phrases in which a thing is none: "in the spring"
    as_said: frozenset[Phrase]  # forms of components that a record keeps: "top hose"
    trades: Mapping[Phrase, Trade]  # a short word of many trades -> when it takes its name: "pad"
    heads: frozenset[str]  # nouns that make one name with what stands before: "stem bolt"
    numbered_components: frozenset[str]  # "injector three"
    wearing: frozenset[str]  # "gone" says of these that they are worn out
    liquids: frozenset[str]
    positions: Phrases
    numbered: frozenset[str]  # words before a place that is a number: "cylinder"
    counted_before: frozenset[str]  # those of them that name nothing: "number"
    kept_before_places: frozenset[str]  # those of them that belong to its name: "bank 1"
    not_places: tuple[Phrase, ...]  # "all right"
    doubtful_places: frozenset[str]  # "back": none unless the trained reader takes it for one
    never_places: frozenset[str]  # none where they are no place by rule: "three thou high"
    axes: Mapping[str, int]  # word of a place -> its axis, from 1 on: "left" and "right" share one
    quantities: Phrases
    implied: Mapping[str, str]  # quantity -> the component it means
    usual_roles: Mapping[str, str]  # quantity -> role without a cue
    rare_units: frozenset[str]  # meant only when what they measure was named
    usual_units: Mapping[str, str]  # quantity -> the unit that a word of several means then
    signed: frozenset[str]  # quantities that can be below nothing
    becomes: Mapping[tuple[str, str], str]  # (unit, quantity) -> the unit that is meant
    unitless: frozenset[str]  # quantities that have no unit
    metric: frozenset[str]  # units that speak for degrees Celsius
    inch_pound: frozenset[str]  # units that speak against
    habits: Mapping[tuple[str, str], str]  # (component, unit) -> quantity
    measured_of: Mapping[str, frozenset[str]]  # component -> the quantities of its habits
    actions: Phrases
    checking: frozenset[str]  # actions that look and change nothing
    removing: frozenset[str]  # actions that take a part away
    left_undone: tuple[Phrase, ...]  # behind a thing or work: "not done"
    not_reached: tuple[Phrase, ...]  # before a thing: "didn't get to"
    others: tuple[Phrase, ...]  # before a verb: somebody else did it
    auxiliaries: frozenset[str]  # words between these and the verb: "had already"
    moving: frozenset[str]  # verbs of things that move: "they went in"
    taken_back: tuple[Phrase, ...]  # behind work: it was not done after all
    exceptions: tuple[Phrase, ...]  # behind work: "except the left one"
    makeshift: tuple[Phrase, ...]  # behind work: it was done until something better is
    of_themselves: frozenset[str]  # actions that things do without anybody: "back out"
    effects: Mapping[str, tuple[Phrase, ...]]  # action -> words behind it that make it no work
    conditions: Phrases
    measuring: tuple[Phrase, ...]  # states in which something is measured: "hot"
    events: tuple[Phrase, ...]  # when a follow-up is due, longest first
    past: tuple[Phrase, ...]  # times of the past: "last year"
    lasting: frozenset[str]  # words before the time that something lasts: "good until june"
    opening: frozenset[str]  # words that begin an event of the speaker's own: "when"
    tails: frozenset[str]  # words before a time at the end of work to come: "by september"
    said_tails: frozenset[str]  # those of them that are said with it: "next lift"
    no_tails: frozenset[str]  # what is no time: "in service"
    sure_tails: frozenset[str]  # those behind which anything is a time
    occasions: frozenset[str]  # words that make a time of what stands behind the others
    stretches: Mapping[str, str]  # "a week" -> P1W
    durations: Mapping[str, str]  # "weeks" -> "W"
    small_words: Mapping[str, frozenset[str]]  # what they do -> the words
    not_units: tuple[Phrase, ...]  # "all of them bar the"
    cues: tuple[Cue, ...]
    shapes: tuple[Shape, ...]  # longest first


@lru_cache(maxsize=1)
def load() -> Vocabulary:
    """All vocabulary files. Raises DataFileError for a file that breaks the rules."""
    things = _file("components.toml", _THINGS)
    components = parse_phrases("components.toml", things["component"], plural=True)
    found = _file("conditions.toml", {"conditions", "measuring"})
    small = _file("small_words.toml", _SMALL_WORDS)
    return Vocabulary(
        components=components,
        not_things=tuple(map(phrase, things["false"])),
        **_kept_words(things, components),
        heads=frozenset(things["heads"]),
        wearing=frozenset(things["wearing"]),
        liquids=frozenset(things["liquid"]),
        **_place_words(),
        **_measuring_words(frozenset(things["component"])),
        **_work_words(),
        conditions={text: (phrase(text),) for text in found["conditions"]},
        measuring=_longest_first(found["measuring"]),
        **_due_words(),
        small_words={use: frozenset(words) for use, words in small.items()},
        not_units=tuple(form for text in small["no_units"] for form in choices(text)),
        cues=parse_cues(_file("cues.toml", {"cue"})["cue"]),
        shapes=parse_shapes(_file("shapes.toml", {"shape"})["shape"]),
    )


def _work_words() -> dict[str, Any]:
    work = _file("actions.toml", {"action", "effects", *_WORK_PHRASES, *_WORK_WORDS})
    return {
        "actions": parse_phrases("actions.toml", work["action"]),
        "effects": {name: _longest_first(texts) for name, texts in work["effects"].items()},
        **{use: _longest_first(work[use]) for use in _WORK_PHRASES},
        **{use: frozenset(work[use]) for use in _WORK_WORDS},
    }


def _kept_words(things: Mapping[str, Any], components: Phrases) -> dict[str, Any]:
    """The forms that a record may keep, and the numbered things under all their names."""
    as_said = frozenset(map(phrase, things["as_said"]))
    trades = parse_trades(things["trade"])
    owners = {form: name for name, forms in components.items() for form in forms}
    kept = (*as_said, *trades)
    for form in kept:
        if owners.get(form, " ".join(form)) == " ".join(form):
            raise DataFileError(
                f"components.toml: {' '.join(form)!r} must be another way to say a component"
            )
    numbered = {" ".join(form) for form in kept if owners[form] in things["numbered"]}
    return {
        "as_said": as_said,
        "component_names": frozenset({*components, *map(" ".join, kept)}),
        "trades": trades,
        "numbered_components": frozenset({*things["numbered"], *numbered}),
    }


def _place_words() -> dict[str, Any]:
    places = _file(
        "positions.toml",
        {"numbered", "counting", "kept", "false", "never", "doubtful", "axes", "fixed"},
    )
    axes = places["axes"]
    return {
        "positions": parse_phrases("positions.toml", places["fixed"]),
        "numbered": frozenset(places["numbered"]),
        "counted_before": frozenset(places["counting"]),
        "kept_before_places": frozenset(places["kept"]),
        "not_places": tuple(map(phrase, places["false"])),
        "doubtful_places": frozenset(places["doubtful"]),
        "never_places": frozenset({*places["never"], *(word for axis in axes for word in axis)}),
        "axes": {word: axis for axis, words in enumerate(axes, 1) for word in words},
    }


def _measuring_words(components: frozenset[str]) -> dict[str, Any]:
    measured = _file(
        "quantities.toml",
        {
            "quantity",
            "rarely",
            "signed",
            "becomes",
            "unitless",
            "systems",
            "usual",
            "implies",
            "role",
            "habit",
        },
    )
    habits = parse_habits(measured["habit"], components)
    return {
        "quantities": parse_phrases("quantities.toml", measured["quantity"]),
        "implied": measured["implies"],
        "usual_roles": measured["role"],
        "rare_units": frozenset(measured["rarely"]),
        "usual_units": measured["usual"],
        "signed": frozenset(measured["signed"]),
        "unitless": frozenset(measured["unitless"]),
        "units": _units(_file("units.toml", {"unit"})["unit"], measured["becomes"]),
        "becomes": {
            (unit, quantity): meant
            for unit, table in measured["becomes"].items()
            for quantity, meant in table.items()
        },
        "metric": frozenset(measured["systems"]["metric"]),
        "inch_pound": frozenset(measured["systems"]["inch_pound"]),
        "habits": habits,
        "measured_of": _by_component(habits),
    }


def _due_words() -> dict[str, Any]:
    dues = _file("dues.toml", _DUES)
    tails = dues["tails"]
    return {
        "events": _longest_first([*dues["events"], *_calendar(**dues["calendar"])]),
        "past": _longest_first(dues["past"]),
        "lasting": frozenset(dues["lasting"]),
        "opening": frozenset(dues["opening"]),
        "tails": frozenset(tails["before"]),
        "said_tails": frozenset(tails["said"]),
        "no_tails": frozenset(tails["never"]),
        "sure_tails": frozenset(tails["sure"]),
        "occasions": frozenset(tails["occasions"]),
        "stretches": dues["stretches"],
        "durations": dues["durations"],
    }


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


def _by_component(habits: Mapping[tuple[str, str], str]) -> dict[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    for (component, _), quantity in habits.items():
        found.setdefault(component, set()).add(quantity)
    return {component: frozenset(quantities) for component, quantities in found.items()}


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


def _calendar(leads: Iterable[str], names: Iterable[str]) -> Iterator[str]:
    """ "by may", "over the winter": times of the year, each behind the words that make it one."""
    yield from (f"{lead} {name}" for lead, name in product(leads, names))


def _longest_first(texts: Iterable[str]) -> tuple[Phrase, ...]:
    return tuple(sorted(map(phrase, texts), key=len, reverse=True))


def _one_of(value: object, allowed: Iterable[str], where: str) -> None:
    allowed = tuple(allowed)
    if value not in allowed:
        raise DataFileError(f"{where} {value!r} is unknown; use one of {', '.join(allowed)}")


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


def _only(table: Mapping[str, Any], allowed: set[str], where: str) -> None:
    if extra := set(table) - allowed:
        raise DataFileError(
            f"{where}: unknown key {', '.join(sorted(extra))}; "
            f"allowed are {', '.join(sorted(allowed))}"
        )


def _units(
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
