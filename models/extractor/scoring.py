"""Compares what talklog understands of a passage with what its annotator wrote down.

The rules of comparison, for every kind of thing:

* **Place.** Two spans can match when they share a word. Each is matched once; pairs with the same
  value (name, verb) go first, then those that share most.
* **Value** as a number ("0.30" is "0.3", "a sixth" is 0.17), **unit** by its trade name. A unit
  carried through a list may be written out by the annotator or left out as not said: where the
  annotation has none, a unit is right when another reading of the passage has it, and a missing
  unit is never right where the annotation has one. Units that had no name yet when the notes were
  annotated (UNNAMED) are right where it has none. Kilos and pounds of a load or tension are its
  force.
* **Component.** Forgiving on plural, articles, places and names: each word is made singular,
  words of places ("front", "number two") are dropped, and phrases of the vocabulary become its
  names ("tire" is "tyre"). Then the names are equal when they are the same words, or when they
  end in the same word and all words of one stand in the other ("pad" and "brake pad", "rear main
  seal" and "seal"). "not said" equals only itself, and what the quantity implies by the
  vocabulary (a compression is of the cylinder).
* **Position.** The same words in any order, alone or with those in the component's name ("front
  axle", and the axle at the front); "nearside" and "near side" are the same, "back" and "rear"
  (words that the vocabulary takes for one), "right hand" and "right", and so are "cylinder 2" and
  "2". None is equal only to none.
* **Quantity, role, status, why, done, due**: equal. A day named by a word ("friday") is an event,
  for the notes have no date; events are the same without their small words ("at the weekend").
* **Verb**: equal, or forms of one entry of the vocabulary's actions.
* **Condition** of a finding: at least one word in common besides small words.
* Where an annotation has ``also``, see ``passages``, what it says is right too.
* **Presumed**: of the fields that are marked as such, those that are wrong; and of the readings
  that are not asked about those that are wrong in a field without the mark.
* **Unsure**: the span of an annotation shares a word with a doubtful reading or an unsure entry.
  Such a reading, asked about where the annotator could not say what is meant, is neither right nor
  wrong: it is counted here and not among the readings found.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import lru_cache
from typing import Any

from models.extractor.passages import Item, Passage
from talklog import notes
from talklog.nouns import singular
from talklog.numbers import find_numbers
from talklog.transcript import Source, Transcript, Word
from talklog.verbs import plain_form
from talklog.vocabulary import load

SMALL = """
a an the of and is are was were it it's its to in on at by with very bit little all that
"""
ARTICLES = "a an the this that these those my his her its our old new"
PLACES = """
front rear left right nearside offside near off side inner outer inboard outboard upper lower top
bottom inlet exhaust port starboard forward aft number no cylinder middle centre
"""
ENDLESS, PLACES_OF_A_PART = 6, 2  # decimal places of "a sixth", and of it as annotated: 0.17
FORCES = ("load", "tension")  # quantities that may be annotated in the units of a mass
WEIGHTS = {"kg": "kgf", "lb": "lbf"}
UNNAMED = frozenset(["kVA", "kn", "uF", "uA", "dB", "mmH2O", "m/s", "m3/h", "ft3/min", "ppm"])
TIMES = "at by in on for before over until till come the a"  # "at the weekend" is "weekend"
UNPLACED = (
    "number no cylinder the a side end of hand at by on to from and"  # small words of a place
)
UNCOUNTED = frozenset(f"{ARTICLES} {PLACES}".split())  # in the name of a component
Same = Callable[[Any, Item], bool]


@dataclass(frozen=True, slots=True)
class Miss:
    """One difference: ``kind`` is a measure, ``what`` a plain sentence."""

    passage: str
    kind: str
    what: str


@dataclass
class Tally:
    """Counts of one or many passages. ``found``, ``wanted`` and ``right`` are by measure."""

    wanted: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    right: Counter[str] = field(default_factory=Counter)
    misses: list[Miss] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        self.wanted += other.wanted
        self.found += other.found
        self.right += other.right
        self.misses += other.misses

    def f1(self, measure: str) -> float:
        """2 * right / (wanted + found); 1 when there is nothing to find and nothing was found."""
        both = self.wanted[measure] + self.found[measure]
        return 2 * self.right[measure] / both if both else 1.0

    def share(self, measure: str) -> float:
        """right / wanted; 0 when nothing was wanted."""
        return self.right[measure] / self.wanted[measure] if self.wanted[measure] else 0.0


def transcript_of(words: Sequence[str], pauses: Sequence[float] = ()) -> Transcript:
    """The words as a recogniser would hand them on, with no confidence. ``pauses``: seconds before
    each word."""
    silences = pauses or [0.0] * len(words)
    said = (Word(word, pause_before=silence) for word, silence in zip(words, silences, strict=True))
    return Transcript(Source("audio", "corpus", "0" * 64), tuple(said))


def compare(passage: Passage, said: notes.Notes) -> Tally:
    """What is right and wrong in ``said``, the understanding of a passage."""
    tally = Tally()
    _readings(tally, passage, said)
    _leaks(tally, passage, said)
    _things(tally, passage, said)
    _asked(tally, passage, said)
    return tally


# ---- readings ------------------------------------------------------------------------------------

FIELDS = ("quantity", "component", "position", "value", "unit", "role")


def _readings(tally: Tally, passage: Passage, said: notes.Notes) -> None:
    wanted = passage.lists["readings"]
    pairs = match(said.readings, wanted, _same_value)
    units = {item["unit"] for item in wanted} - {None}
    for got, item in pairs:
        wrong = {name for name in FIELDS if not _field_right(name, got, item, units)}
        _count_reading(tally, passage, got, item, wrong)
    matched = {id(got) for got, _ in pairs}
    missing = {id(item) for item in wanted} - {id(item) for _, item in pairs}
    judged = [got for got in said.readings if id(got) in matched or not _both_unsure(got, passage)]
    for got in judged:
        if id(got) not in matched:
            tally.found["silent"] += got.doubt is None
            tally.misses.append(_miss(passage, "extra reading", _shown(got)))
    for item in wanted:
        if id(item) in missing:
            tally.misses.append(_miss(passage, "missing reading", _expected(item)))
    for measure in ("all", "value unit component", "value unit", *FIELDS):
        tally.wanted[measure] += len(wanted)
        tally.found[measure] += len(judged)
    tally.wanted["silent"] += len(judged)


def has_value_and_unit(passage: Passage, readings: Sequence[notes.Reading]) -> list[bool]:
    """Whether each reading is one of the annotated, with the same value and unit."""
    wanted = passage.lists["readings"]
    units = {item["unit"] for item in wanted} - {None}
    pairs = match(readings, wanted, _same_value)
    right = {
        id(got)
        for got, item in pairs
        if _field_right("value", got, item, units) and _field_right("unit", got, item, units)
    }
    return [id(reading) in right for reading in readings]


def _both_unsure(got: notes.Reading, passage: Passage) -> bool:
    unsure = passage.lists["unsure"]
    return got.doubt is not None and any(_share_words(got, item) for item in unsure)


def _share_words(got: notes.Reading | notes.Unsure, item: Item) -> bool:
    return got.first <= item.last and item.first <= got.last


def _count_reading(
    tally: Tally, passage: Passage, got: notes.Reading, item: Item, wrong: set[str]
) -> None:
    tally.right["all"] += not wrong
    tally.right["value unit component"] += not wrong & {"value", "unit", "component"}
    tally.right["value unit"] += not wrong & {"value", "unit"}
    for name in FIELDS:
        tally.right[name] += name not in wrong
    tally.found["silent"] += bool(wrong & {"value", "unit"}) and got.doubt is None
    tally.wanted["presumed"] += len(got.presumed)
    tally.right["presumed"] += len(wrong & set(got.presumed))
    tally.wanted["plain"] += got.doubt is None
    tally.right["plain"] += got.doubt is None and bool(wrong - set(got.presumed))
    if wrong:
        what = f"{' '.join(sorted(wrong))}: got {_shown(got)}; wanted {_expected(item)}"
        tally.misses.append(_miss(passage, "wrong reading", what))


def _field_right(name: str, got: notes.Reading, item: Item, units: set[str]) -> bool:
    if name == "value":
        return _same_value(got, item)
    if name == "unit" and item["quantity"] in FORCES and item["unit"] in WEIGHTS:
        return got.unit in (item["unit"], WEIGHTS[item["unit"]])
    if name == "unit":
        unnamed = item["unit"] is None and got.unit in units | UNNAMED
        return unnamed or got.unit in item.accepted("unit")
    if name == "component":
        implied = load().implied.get(got.quantity) == got.component
        unsaid = implied and item["component"] == notes.NOT_SAID
        return unsaid or _is_component(got.component, item)
    if name == "position":
        return _same_place(got, item)
    return getattr(got, name) in item.accepted(name)


def _is_component(got: str | None, item: Item, field: str = "component") -> bool:
    return any(same_component(got, name) for name in item.accepted(field))


def _same_value(got: notes.Reading, item: Item) -> bool:
    wanted = Decimal(item["value"])
    endless = -got.value.as_tuple().exponent == ENDLESS
    return got.value == wanted or (endless and round(got.value, PLACES_OF_A_PART) == wanted)


def _leaks(tally: Tally, passage: Passage, said: notes.Notes) -> None:
    """Numbers that should be set aside, and those of them that became readings."""
    real = {id(got) for got, _ in match(said.readings, passage.lists["readings"], _same_value)}
    wrong = [got for got in said.readings if id(got) not in real]
    numbers = _number_words(passage)
    for item in passage.lists["set_aside"]:
        words = numbers & set(range(item.first, item.last + 1))
        if not words:
            continue
        tally.wanted["leaked"] += 1
        tally.wanted["set aside"] += 1
        leaked = [got for got in wrong if words & set(range(got.first, got.last + 1))]
        tally.right["leaked"] += bool(leaked)
        aside = [a for a in said.set_aside if words & set(range(a.first, a.last + 1))]
        tally.right["set aside"] += any(a.why == item["why"] for a in aside)
        if leaked:
            what = f"should be set aside ({item['why']}): {item['said']}; got {_shown(leaked[0])}"
            tally.misses.append(_miss(passage, "leaked", what))
        elif not any(a.why == item["why"] for a in aside):
            got = aside[0].why if aside else "not set aside"
            what = f"{item['said']}: wanted {item['why']}, got {got}"
            tally.misses.append(_miss(passage, "set aside otherwise", what))


def _number_words(passage: Passage) -> set[int]:
    runs = find_numbers(transcript_of(passage.words, passage.pauses).words)
    return {at for run in runs for at in range(run.first, run.last + 1)}


# ---- actions, parts, findings, follow-ups, what is unsure ----------------------------------------


def _things(tally: Tally, passage: Passage, said: notes.Notes) -> None:
    _thing(tally, passage, "actions", said.actions, _same_action)
    _thing(tally, passage, "parts", said.parts, _same_part)
    _thing(tally, passage, "findings", said.findings, _same_finding)
    _thing(tally, passage, "follow_ups", said.follow_ups, _same_due)
    meters = [said.meter] if said.meter else []
    wanted = [passage.meter] if passage.meter else []
    _thing(tally, passage, "meter", meters, _same_meter, wanted)


def _thing(
    tally: Tally,
    passage: Passage,
    name: str,
    found: Sequence[Any],
    same: Same,
    wanted: Sequence[Item] | None = None,
) -> None:
    items = passage.lists[name] if wanted is None else wanted
    pairs = match(found, items, same)
    right = [(got, item) for got, item in pairs if same(got, item)]
    tally.wanted[name] += len(items)
    tally.found[name] += len(found)
    tally.right[name] += len(right)
    used = {id(thing) for pair in pairs for thing in pair}
    for got, item in pairs:
        if (got, item) not in right:
            what = f"got {_shown(got)}; wanted {_expected(item)}"
            tally.misses.append(_miss(passage, f"wrong {name}", what))
    for got in found:
        if id(got) not in used:
            tally.misses.append(_miss(passage, f"extra {name}", _shown(got)))
    for item in items:
        if id(item) not in used:
            tally.misses.append(_miss(passage, f"missing {name}", _expected(item)))


def _same_action(got: notes.Action, item: Item) -> bool:
    alike = any(same_verb(got.verb, verb) for verb in item.accepted("verb"))
    return alike and _is_component(got.component, item) and got.done == item["done"]


def _same_part(got: notes.Part, item: Item) -> bool:
    return got.status == item["status"] and _is_component(got.name, item, "name")


def _same_finding(got: notes.Finding, item: Item) -> bool:
    shared = _content(got.condition) & _content(item["condition"])
    return bool(shared) and _is_component(got.component, item)


def _same_due(got: notes.FollowUp, item: Item) -> bool:
    return any(_same_time(_due_of(got.due), _due_wanted(due)) for due in item.accepted("due"))


def _same_time(found: tuple[str, ...] | None, wanted: tuple[str, ...] | None) -> bool:
    if found is None or wanted is None or {found[0], wanted[0]} != {"event"}:
        return found == wanted
    return _content_of_time(found[1]) == _content_of_time(wanted[1])


def _content_of_time(text: str) -> list[str]:
    return [word for word in text.split() if word not in TIMES.split()]


def _same_meter(got: notes.Meter, item: Item) -> bool:
    return got.value == Decimal(item["value"]) and got.unit == item["unit"]


def _content(text: str | None) -> set[str]:
    return {singular(word) for word in (text or "").split()} - set(SMALL.split())


def _due_of(due: notes.Due | None) -> tuple[str, ...] | None:
    if due is None:
        return None
    if due.distance:
        return ("distance", f"{Decimal(due.distance[0]).normalize():f}", due.distance[1])
    if due.hours:
        return ("hours", f"{Decimal(due.hours).normalize():f}")
    return next(
        (name, value) for name in ("event", "duration", "date") if (value := getattr(due, name))
    )


def _due_wanted(due: Mapping[str, str] | None) -> tuple[str, ...] | None:
    if not due:
        return None
    if "distance" in due:
        return ("distance", f"{Decimal(due['distance']).normalize():f}", due.get("unit", ""))
    if "hours" in due:
        return ("hours", f"{Decimal(due['hours']).normalize():f}")
    kind, text = next(iter(due.items()))
    return ("event", text) if kind == "date" and not text[:1].isdigit() else (kind, text)


def _asked(tally: Tally, passage: Passage, said: notes.Notes) -> None:
    doubts = [*(r for r in said.readings if r.doubt is not None), *said.unsure]
    for item in passage.lists["unsure"]:
        tally.wanted["unsure"] += 1
        asked = any(_share_words(d, item) for d in doubts)
        tally.right["unsure"] += asked
        if not asked:
            what = f"not marked: {item['said']} ({item['why']})"
            tally.misses.append(_miss(passage, "unsure", what))
    tally.wanted["asked"] += len(said.readings)
    tally.right["asked"] += sum(r.doubt is not None for r in said.readings)


# ---- the same or not -----------------------------------------------------------------------------


def match(found: Sequence[Any], wanted: Sequence[Item], same: Same) -> list[tuple[Any, Item]]:
    """Pairs of things and annotations that share words: the same first, then those closest."""
    pairs = [
        (same(got, item), shared, -at, -to, got, item)
        for at, got in enumerate(found)
        for to, item in enumerate(wanted)
        if (shared := _shared(got, item)) > 0
    ]
    chosen: list[tuple[Any, Item]] = []
    used: set[int] = set()
    for *_, got, item in sorted(pairs, key=lambda pair: pair[:4], reverse=True):
        if id(got) not in used and id(item) not in used:
            used |= {id(got), id(item)}
            chosen.append((got, item))
    return chosen


def _shared(got: Any, item: Item) -> float:
    """Words in both spans over words in either."""
    both = min(got.last, item.last) - max(got.first, item.first) + 1
    return max(0, both) / (max(got.last, item.last) - min(got.first, item.first) + 1)


def same_component(one: str | None, other: str | None) -> bool:
    """See the head of this module."""
    first, second = component_words(one), component_words(other)
    if not first or not second:
        return (one or notes.NOT_SAID) == (other or notes.NOT_SAID)
    inside = set(first) <= set(second) or set(second) <= set(first)
    return first == second or (first[-1] == second[-1] and inside)


@lru_cache(maxsize=4096)
def component_words(text: str | None) -> tuple[str, ...]:
    """The words that count in the name of a component."""
    words = [singular(word) for word in (text or "").replace("-", " ").split()]
    if not text or text == notes.NOT_SAID:
        return ()
    kept = [w for w in words if w not in UNCOUNTED and not w.isdigit()] or words
    return tuple(_named(kept))


def _named(words: Sequence[str]) -> Iterator[str]:
    """Phrases of the vocabulary as its names, the longest first."""
    names = _component_names()
    at = 0
    while at < len(words):
        for length in range(min(4, len(words) - at), 0, -1):
            phrase = tuple(words[at : at + length])
            if length == 1 or phrase in names:
                yield from map(singular, names.get(phrase, phrase[0]).split())
                at += length
                break


@lru_cache(maxsize=1)
def _component_names() -> dict[tuple[str, ...], str]:
    return {
        tuple(singular(word) for word in phrase): name
        for name, phrases in load().components.items()
        for phrase in phrases
    }


def same_verb(one: str, other: str) -> bool:
    return one == other or _verb(one) == _verb(other)


def _verb(text: str) -> str:
    return _verb_names().get(tuple(text.split()), text)


@lru_cache(maxsize=1)
def _verb_names() -> dict[tuple[str, ...], str]:
    """Forms of the vocabulary's actions, and their base forms: "clean up" for "cleaned up"."""
    forms = {phrase: name for name, phrases in load().actions.items() for phrase in phrases}
    bases = {(plain_form(phrase[0]), *phrase[1:]): name for phrase, name in forms.items()}
    return bases | forms


def _same_place(got: notes.Reading, item: Item) -> bool:
    own = _whole_place(got.position, got.component)
    return any(
        place_words(got.position) == place_words(place) or own == _whole_place(place, component)
        for place in item.accepted("position")
        for component in item.accepted("component")
    )


def _whole_place(place: str | None, component: str | None) -> frozenset[str]:
    """The words of a place with those in the name of the component: "front axle" is the front."""
    named = [word for word in (component or "").split() if word in PLACES.split()]
    return place_words(f"{place or ''} {' '.join(named)}")


def place_words(text: str | None) -> frozenset[str]:
    """The words that count in a place, as the vocabulary names them; digits as they are."""
    words = (text or "").replace("-", " ").replace("near side", "nearside")
    words = words.replace("off side", "offside").split()
    found = {_place_names().get(word, singular(word)) for word in words}
    return frozenset(found) - frozenset(UNPLACED.split())


@lru_cache(maxsize=1)
def _place_names() -> dict[str, str]:
    """Single words of the vocabulary's places: "back" is "rear"."""
    return {phrase[0]: name for name, phrases in load().positions.items()
            for phrase in phrases if len(phrase) == 1}  # fmt: skip


# ---- in words ------------------------------------------------------------------------------------


def _miss(passage: Passage, kind: str, what: str) -> Miss:
    return Miss(passage.id, kind, what)


def _shown(got: Any) -> str:
    if isinstance(got, notes.Reading):
        parts = (got.quantity, got.component, got.position, got.said, got.unit, got.role)
        doubt = f" (asked: {got.doubt})" if got.doubt else ""
        return f"[{' | '.join(str(part or '-') for part in parts)}]{doubt}"
    names = (n for n in got.__slots__ if n not in ("first", "last"))
    return f"[{' | '.join(str(getattr(got, name)) for name in names)}]"


def _expected(item: Item) -> str:
    order = (*FIELDS, "verb", "name", "status", "condition", "what", "due", "done", "why")
    parts = [str(item[name]) if item[name] is not None else "-" for name in _said(item, order)]
    return f"[{' | '.join(parts)}] from {item['said']!r}"


def _said(item: Item, order: Iterable[str]) -> list[str]:
    is_reading = item["role"] is not None
    return [n for n in order if n in item.fields or (is_reading and n in ("position", "unit"))]
