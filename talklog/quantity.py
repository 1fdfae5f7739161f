"""Step 5b: what a number measures: a word that says so decides, else a learned choice.

"ring gap twelve thou" is a gap because it was said. For "injector three hundred and ten" the unit,
the component, the words around and the reading before are weighed (see ``chooser``), among the
quantities that the unit can serve. Knows no bands.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from talklog.chooser import label_chances, together
from talklog.context import Context
from talklog.mentions import Mention
from talklog.notearrays import QUANTITIES
from talklog.notes import NOT_SAID, Reading
from talklog.roled import RoledNumber
from talklog.vocabulary import load
from talklog.word_kinds import UnitWords

CHOICE = "quantity"
LEAST = 0.045  # probability of a quantity that the reader does not think of
RULES = 1.0  # weight of their opinion beside the reader's, chosen on the dev notes
NOT_MEANT = 0.05  # probability below which a quantity that was said is not what is measured
GOES_ON = 12.0  # how many times more probable is what was measured in the same unit just before
MAYBE = 0.005  # probability from which a number may measure something that was not said
AROUND = 4  # words on each side that are features
CLOSE = 9  # words: a reading before within these is near
MAGNITUDES = (0.1, 1, 5, 10, 20, 50, 100, 300, 1000, 3000)


@dataclass(frozen=True, slots=True)
class Quantity:
    """What a number measures, how probable that is (1 when it was said), how it is known, and what
    it may measure instead."""

    name: str
    chance: float
    why: str
    others: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Setting:
    """A number with what is known of it before its quantity is."""

    context: Context
    item: RoledNumber
    component: Mention | None
    units: tuple[UnitWords, ...]  # what its unit word can be; none if no unit was said
    said: Mention | None  # the nearest quantity word
    last: Reading | None  # the reading before


def quantity_of(setting: Setting) -> Quantity:
    """The most probable quantity of a number."""
    certain = setting.said if setting.said is not None and _is_certain(setting) else None
    if certain is not None and not _is_doubted(setting, certain.name):
        return Quantity(certain.name, 1.0, "said")
    labels = {name: list(_own_features(setting, name)) for name in possible(setting.units)}
    shares = label_chances(CHOICE, _shared_features(setting), labels)
    shares = _with_reader(setting, list(labels), shares)
    shares = [share / sum(shares) for share in shares]
    best = max(range(len(shares)), key=shares.__getitem__)
    ways = enumerate(zip(labels, shares, strict=True))
    others = tuple(way for at, way in ways if at != best and way[1] >= MAYBE)
    return Quantity(list(labels)[best], shares[best], f"most probable ({shares[best]:.0%})", others)


def _with_reader(setting: Setting, names: list[str], shares: list[float]) -> list[float]:
    """The product of both probabilities where the trained reader has one."""
    read = setting.context.read_of.get(setting.item.first)
    if read is None:
        return shares
    told = [read.quantities.get(name, 0.0) for name in names]
    both = together(shares, told, weight=RULES, least=LEAST)
    return [
        both[at] * (GOES_ON if _as_before(setting, name) else 1) for at, name in enumerate(names)
    ]


def _is_doubted(setting: Setting, name: str) -> bool:
    """Whether the trained reader is all but certain that a word does not say what this number
    measures: "the high pressure side bore seventy point oh four"."""
    read = setting.context.read_of.get(setting.item.first)
    return read is not None and read.quantities.get(name, 0.0) < NOT_MEANT


def _as_before(setting: Setting, name: str) -> bool:
    """Whether the same unit was said of the same thing just before, and measured this."""
    last, units = setting.last, setting.units
    if last is None or not units or setting.item.first - last.last > CLOSE:
        return False
    thing = setting.component.name if setting.component else NOT_SAID
    implied = load().implied.get(name) if thing == NOT_SAID else None
    alike = last.quantity == name and last.component in (thing, implied)
    meant = {load().becomes.get((unit.name, name), unit.name) for unit in units}
    return alike and last.unit in meant


def _is_certain(setting: Setting) -> bool:
    """A quantity word settles it when it names the unit's kind, and beside the number always."""
    near = abs(setting.item.first - setting.said.last) <= CLOSE // 2
    return bool(setting.units) or near


def unit_chances(context: Context, first: int, units: Sequence[UnitWords]) -> dict[str, float]:
    """How probable each unit of a word is, by what the trained reader takes the number at the word
    ``first`` to measure: "pounds" of a pressure are psi. Empty if it says nothing of that."""
    read = context.read_of.get(first)
    if read is None:
        return {}
    served = {
        unit.name: sum(read.quantities.get(quantity, 0.0) for quantity in unit.quantities)
        for unit in units
    }
    total = sum(served.values())
    return {name: chance / total for name, chance in served.items()} if total else {}


def possible(units: Sequence[UnitWords]) -> tuple[str, ...]:
    """The quantities that a unit can serve; all when none was said."""
    served = dict.fromkeys(quantity for unit in units for quantity in unit.quantities)
    return tuple(served) or _all_quantities()


@lru_cache(maxsize=1)
def _all_quantities() -> tuple[str, ...]:
    names = {quantity for unit in load().units for quantity in unit.quantities}
    return tuple(sorted(names | set(QUANTITIES)))


def candidates(setting: Setting) -> list[tuple[str, list[str]]]:
    """Each possible quantity with all its features, as they are learned from."""
    shared = list(_shared_features(setting))
    return [
        (name, [f"{name} {feature}" for feature in shared] + list(_own_features(setting, name)))
        for name in possible(setting.units)
    ]


def _shared_features(setting: Setting) -> Iterator[str]:
    """Features of the number and its surroundings; each stands for itself with each quantity."""
    item = setting.item
    unit = setting.units[0].name if setting.units else "bare"
    yield ""
    yield f"in {unit}"
    if setting.component is not None:
        yield f"of {setting.component.base}"
        yield f"of {setting.component.base} in {unit}"
    if not setting.units:
        yield f"form {item.number.form}"
        yield f"size {_magnitude(item)}"
    words = setting.context.transcript.words
    for word in words[max(0, item.first - AROUND) : item.first]:
        yield f"after {word.text}"
    for word in words[item.last + 1 : item.last + 1 + AROUND]:
        yield f"before {word.text}"


def _magnitude(item: RoledNumber) -> str:
    value = abs(item.number.value)
    return next((f"under {limit}" for limit in MAGNITUDES if value < limit), "large")


def _own_features(setting: Setting, name: str) -> Iterator[str]:
    """Whether what is known speaks for this quantity, whichever it is."""
    units, last = setting.units, setting.last
    for unit in units[:1]:
        if name in unit.quantities:
            yield f"usual {min(unit.quantities.index(name), 3)}"
    if setting.component is not None:
        yield from _habit_features(setting.component, units, name)
    if setting.said is not None:
        yield "said" if setting.said.name == name else "another said"
    if last is not None and last.quantity == name:
        yield "as before" if setting.item.first - last.last <= CLOSE else "as long before"
        if last.component == (setting.component.name if setting.component else NOT_SAID):
            yield "as before of the same"
        if not units:
            yield "bare as before"


def _habit_features(component: Mention, units: Sequence[UnitWords], name: str) -> Iterator[str]:
    habits, names = load().habits, (component.name, component.base)
    if any(habits.get((thing, unit.name)) == name for thing in names for unit in units):
        yield "habit"
    if not units and name in load().measured_of.get(component.base, ()):
        yield "bare habit"
