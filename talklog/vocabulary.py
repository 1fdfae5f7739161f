"""The words of the trade, from text files that a mechanic can edit. Strictly loaded.

Every file lies in ``talklog/data``. Units are only read for their words here: their sizes are the
business of ``units``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import Any

from talklog.errors import DataFileError
from talklog.word_files import (
    choices,
    longest_first,
    parse_cues,
    parse_forms,
    parse_habits,
    parse_phrases,
    parse_shapes,
    parse_trades,
    parse_units,
    phrase,
    read_words,
)
from talklog.word_kinds import Cue, Phrase, Phrases, Shape, Trade, UnitWords

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
    "before_places",
    "taken_over",
    "having",
    "pronouns",
    "at_hand",
    "owning",
    "stand_ins",
    "negations",
    "refusals",
    "nothing",
    "gone",
    "never_last",
    "never_ends",
    "no_names",
    "coming",
    "leaning",
    "reasons",
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
    "swapped_behind",
    "head_as_found",
    "head_as_left",
    "head_ends",
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
_DUES = {"events", "past", "lasting", "opening", "opening_phrases"}
_DUES |= {"over", "since", "calendar", "tails", "stretches", "durations"}
_WORK_PHRASES = (
    "left_undone",
    "not_reached",
    "others",
    "taken_back",
    "alternatives",
    "exceptions",
    "makeshift",
)
_WORK_WORDS = ("checking", "removing", "rearranging", "auxiliaries", "moving", "of_themselves")
_RELATIVE = {"difference", "used", "bound", "past"}
_THINGS = {"component", "heads", "numbered", "wearing", "liquid", "as_said", "trade", "false"}


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
    never_of: Mapping[str, frozenset[str]]  # quantity -> things of which it is never measured
    usual_roles: Mapping[str, str]  # quantity -> role without a cue
    rare_units: frozenset[str]  # meant only when what they measure was named
    usual_units: Mapping[str, str]  # quantity -> the unit that a word of several means then
    signed: frozenset[str]  # quantities that can be below nothing
    wide: frozenset[str]  # quantities of which one thing has values many times apart
    of_system_voltage: frozenset[str]  # last words of things that tell the voltage of a vehicle
    becomes: Mapping[tuple[str, str], str]  # (unit, quantity) -> the unit that is meant
    unitless: frozenset[str]  # quantities that have no unit
    metric: frozenset[str]  # units that speak for degrees Celsius
    inch_pound: frozenset[str]  # units that speak against
    habits: Mapping[tuple[str, str], str]  # (component, unit) -> quantity
    measured_of: Mapping[str, frozenset[str]]  # component -> the quantities of its habits
    actions: Phrases
    checking: frozenset[str]  # actions that look and change nothing
    removing: frozenset[str]  # actions that take a part away
    rearranging: frozenset[str]  # actions that only put a part elsewhere
    left_undone: tuple[Phrase, ...]  # behind a thing or work: "not done"
    not_reached: tuple[Phrase, ...]  # before a thing: "didn't get to"
    others: tuple[Phrase, ...]  # before a verb: somebody else did it
    auxiliaries: frozenset[str]  # words between these and the verb: "had already"
    moving: frozenset[str]  # verbs of things that move: "they went in"
    taken_back: tuple[Phrase, ...]  # behind work: it was not done after all
    alternatives: tuple[Phrase, ...]  # before a verb: something else was done: "rather than"
    exceptions: tuple[Phrase, ...]  # behind work: "except the left one"
    makeshift: tuple[Phrase, ...]  # behind work: it was done until something better is
    of_themselves: frozenset[str]  # actions that things do without anybody: "back out"
    effects: Mapping[str, tuple[Phrase, ...]]  # action -> words behind it that make it no work
    conditions: Phrases
    measuring: tuple[Phrase, ...]  # states in which something is measured: "hot"
    circumstances: frozenset[Phrase]  # more of them: "with the lights on"
    events: tuple[Phrase, ...]  # when a follow-up is due, longest first
    past: tuple[Phrase, ...]  # times of the past: "last year"
    over: tuple[Phrase, ...]  # the same, behind a verb of the past: "in march"
    lasting: frozenset[str]  # words before the time that something lasts: "good until june"
    opening: frozenset[str]  # words that begin an event of the speaker's own: "when"
    opening_phrases: tuple[Phrase, ...]  # those and "as soon as"
    since: frozenset[str]  # words that make a time behind them one of the past: "since"
    tails: frozenset[str]  # words before a time at the end of work to come: "by september"
    said_tails: frozenset[str]  # those of them that are said with it: "next lift"
    no_tails: frozenset[str]  # what is no time: "in service"
    sure_tails: frozenset[str]  # those behind which anything is a time
    occasions: frozenset[str]  # words that make a time of what stands behind the others
    stretches: Mapping[str, str]  # "a week" -> P1W
    durations: Mapping[str, str]  # "weeks" -> "W"
    small_words: Mapping[str, frozenset[str]]  # what they do -> the words
    relative: Mapping[str, tuple[Phrase, ...]]  # what a value may be instead -> forms: "lost #"
    approximately: frozenset[str]  # words between those and the number: "lost about #"
    not_units: tuple[Phrase, ...]  # "all of them bar the"
    cues: tuple[Cue, ...]
    shapes: tuple[Shape, ...]  # longest first


@lru_cache(maxsize=1)
def load() -> Vocabulary:
    """All vocabulary files. Raises DataFileError for a file that breaks the rules."""
    things = read_words("components.toml", _THINGS)
    components = parse_phrases("components.toml", things["component"], plural=True)
    found = read_words("conditions.toml", {"conditions", "measuring", "circumstances"})
    small = read_words("small_words.toml", _SMALL_WORDS)
    doubts = read_words("doubts.toml", {*_RELATIVE, "approximately"})
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
        measuring=longest_first(found["measuring"]),
        circumstances=frozenset(form for text in found["circumstances"] for form in choices(text)),
        **_due_words(),
        small_words={use: frozenset(words) for use, words in small.items()},
        relative={use: parse_forms("doubts.toml", doubts[use]) for use in _RELATIVE},
        approximately=frozenset(doubts["approximately"]),
        not_units=tuple(form for text in small["no_units"] for form in choices(text)),
        cues=parse_cues(read_words("cues.toml", {"cue"})["cue"]),
        shapes=parse_shapes(read_words("shapes.toml", {"shape"})["shape"]),
    )


def _work_words() -> dict[str, Any]:
    work = read_words("actions.toml", {"action", "effects", *_WORK_PHRASES, *_WORK_WORDS})
    return {
        "actions": parse_phrases("actions.toml", work["action"]),
        "effects": {name: longest_first(texts) for name, texts in work["effects"].items()},
        **{use: longest_first(work[use]) for use in _WORK_PHRASES},
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
    places = read_words(
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
    measured = read_words(
        "quantities.toml",
        {
            "quantity",
            "rarely",
            "signed",
            "wide",
            "system_voltage",
            "becomes",
            "unitless",
            "systems",
            "usual",
            "implies",
            "never",
            "role",
            "habit",
        },
    )
    habits = parse_habits(measured["habit"], components)
    return {
        "quantities": parse_phrases("quantities.toml", measured["quantity"]),
        "implied": measured["implies"],
        "never_of": {name: frozenset(things) for name, things in measured["never"].items()},
        "usual_roles": measured["role"],
        "rare_units": frozenset(measured["rarely"]),
        "usual_units": measured["usual"],
        "signed": frozenset(measured["signed"]),
        "wide": frozenset(measured["wide"]),
        "of_system_voltage": frozenset(measured["system_voltage"]),
        "unitless": frozenset(measured["unitless"]),
        "units": parse_units(read_words("units.toml", {"unit"})["unit"], measured["becomes"]),
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
    dues = read_words("dues.toml", _DUES)
    tails = dues["tails"]
    return {
        "events": longest_first([*dues["events"], *_calendar(**dues["calendar"])]),
        "past": longest_first(dues["past"]),
        "over": longest_first(_past_times(dues)),
        "lasting": frozenset(dues["lasting"]),
        "opening": frozenset(dues["opening"]),
        "opening_phrases": longest_first([*dues["opening"], *dues["opening_phrases"]]),
        "since": frozenset(dues["since"]),
        "tails": frozenset(tails["before"]),
        "said_tails": frozenset(tails["said"]),
        "no_tails": frozenset(tails["never"]),
        "sure_tails": frozenset(tails["sure"]),
        "occasions": frozenset(tails["occasions"]),
        "stretches": dues["stretches"],
        "durations": dues["durations"],
    }


def _past_times(dues: Mapping[str, Any]) -> list[str]:
    """ "in march", "since may": what was done then is over."""
    return [f"{lead} {name}" for lead, name in product(dues["over"], dues["calendar"]["names"])]


def _by_component(habits: Mapping[tuple[str, str], str]) -> dict[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    for (component, _), quantity in habits.items():
        found.setdefault(component, set()).add(quantity)
    return {component: frozenset(quantities) for component, quantities in found.items()}


def _calendar(
    leads: Iterable[str], names: Iterable[str], days: Iterable[str], dates: Iterable[str]
) -> Iterator[str]:
    """ "by may", "over the winter": times of the year, each behind the words that make it one; "the
    fourth of march"."""
    yield from (f"{lead} {name}" for lead, name in product(leads, names))
    dated = product(dates, days, names)
    yield from (form.format(day=day, name=name) for form, day, name in dated)
