"""Step 5b: a roled number -> a reading, or the reason why it cannot be one. Knows no bands.

A bare number is a reading only when what it measures is known: from a quantity word, or because it
goes on with the reading before it ("twelve mil at the bottom and nine at the front").
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from talklog.context import Context
from talklog.mentions import Mention, near
from talklog.notes import NOT_SAID, Alternative, Reading, Unsure
from talklog.roled import RoledNumber
from talklog.vocabulary import UnitWords, load

SURE = 0.8  # the recogniser's confidence below which a number is asked about; see the model card
GOES_ON = 22  # words: how far a bare value may stand behind the reading that it goes on with
CLOSE = 9  # words: within these a carried unit is said in the reason, beyond it is asked about
# Words just before a bare number that make it a value ("is six", "to forty", "got five").
VALUE_WORDS = frozenset(
    [
        "is",
        "are",
        "was",
        "were",
        "at",
        "to",
        "reads",
        "reading",
        "showing",
        "got",
        "now",
        "it's",
        "that's",
        "they're",
        "still",
        "only",
        "then",
        "about",
        "near",
        "said",
        "down",
        "up",
        "make",
        "measured",
    ]
)
BEFORE, BEHIND = 6, 3  # words around a number in which the state is said: "45 psi hot"
SMALL_MIL = 1  # a part of a mil is a part of a millimetre: nobody measures a quarter of a thou
LARGE = (
    "depth",
    "thickness",
    "height",
    "length",
    "width",
    "sag",
    "deflection",
    "distance",
    "level",
)


@dataclass(frozen=True, slots=True)
class Measure:
    """What was measured: quantity, unit, and how both are known."""

    quantity: str
    unit: str | None
    why_quantity: str
    why_unit: str
    doubt: str | None = None
    others: tuple[UnitWords, ...] = ()  # units that the same word could be


def make_reading(context: Context, item: RoledNumber, last: Reading | None) -> Reading | Unsure:
    """The reading of a number; ``last`` is the reading before it, with which it may go on."""
    first, end = item.number.first, item.last
    units = item.unit.units if item.unit else ()
    component, why_component = context.component_of(first, end, units)
    said = context.quantity_word(first, end, units)
    measure = _measure(context, item, component, said, last)
    if measure is None:
        return Unsure("a number without a unit, and it was not said what it measures", first, end)
    name = context.component_name(component, measure.quantity, first)
    implied = load().implied.get(measure.quantity)
    if said is not None and implied and said.name == measure.quantity and name != implied:
        name, why_component = implied, f"what {measure.quantity} is of"
    role, why_role = _role(item, measure)
    return Reading(
        quantity=measure.quantity,
        component=name,
        position=context.position_of(first, component),
        condition=_condition(context, first, end),
        value=item.number.value,
        said=item.number.said,
        unit=measure.unit,
        role=role,
        first=_first_word(said, first),
        last=max(end, item.number.last),
        reason=f"role {role}: {why_role}; quantity {measure.quantity}: {measure.why_quantity}; "
        f"{measure.why_unit}component: {why_component}",
        doubt=item.doubt or measure.doubt or _heard_badly(context, first, end),
        alternatives=_alternatives(item, measure),
    )


def _first_word(said: Mention | None, first: int) -> int:
    """A reading begins with its quantity word when that stands close before it."""
    return said.first if said is not None and 0 < first - said.last <= 3 else first


def _role(item: RoledNumber, measure: Measure) -> tuple[str, str]:
    usual = load().usual_roles.get(measure.quantity)
    if usual and not item.sure and item.role == "measured":
        return usual, f"usual for {measure.quantity}"
    return item.role, item.because


# ---- what was measured ---------------------------------------------------------------------------


def _measure(
    context: Context,
    item: RoledNumber,
    component: Mention | None,
    said: Mention | None,
    last: Reading | None,
) -> Measure | None:
    if item.unit is not None:
        units = _usual_units(context, item.unit.units, said)
        goes_on = item.carried or _same_again(item, component, units, last)
        measure = _with_unit(units, component, said, last if goes_on else None)
        return _settled(context, item, component, measure)
    goes_on = last is not None and _goes_on(context, item, component, last)
    weak = goes_on and said is not None and abs(item.first - said.last) > CLOSE // 2
    if said is not None and not weak and not (goes_on and said.name == last.quantity):
        known = component is not None or said.name in load().implied
        return Measure(said.name, None, "said", "", "no unit was said") if known else None
    if not goes_on:
        return _by_component(item, component)
    far = item.first - last.last > CLOSE
    doubt = "the unit was said only of an earlier value" if far and last.unit else None
    why = f"unit {last.unit}: carried on from the value before; " if last.unit else ""
    doubt = doubt or (None if last.unit else "no unit was said")
    return Measure(last.quantity, last.unit, "carried on from the value before", why, doubt)


def _same_again(
    item: RoledNumber,
    component: Mention | None,
    units: tuple[UnitWords, ...],
    last: Reading | None,
) -> bool:
    """ "backlash twelve thou, as left four thou": the same thing in the same unit soon after."""
    if last is None or item.first - last.last > GOES_ON:
        return False
    name = component.name if component is not None else NOT_SAID
    return name == last.component and any(unit.name == last.unit for unit in units)


def _by_component(item: RoledNumber, component: Mention | None) -> Measure | None:
    """A decimal said of a thing on which only one quantity is usual: a pad has a thickness."""
    if component is None or item.number.form not in ("decimal", "mixed"):
        return None
    names = (component.name, component.base)
    usual = {quantity for (name, _), quantity in load().habits.items() if name in names}
    if len(usual) != 1:
        return None
    return Measure(usual.pop(), None, f"usual for {component.name}", "", "no unit was said")


def _goes_on(context: Context, item: RoledNumber, component: Mention | None, last: Reading) -> bool:
    """Whether a bare number goes on with the reading before it: not far, of the same thing, and
    either placed ("nine at the front") or said like a value ("now it's two")."""
    if not 0 < item.first - last.last <= GOES_ON or item.number.form in ("ordinal", "fraction"):
        return False
    name = component.name if component is not None else NOT_SAID
    same = name == last.component or NOT_SAID in (name, last.component)
    placed = context.position_of(item.first, component) is not None
    before = context.transcript.words[item.first - 1].text
    valued = before in VALUE_WORDS or before.endswith("'s") or item.sure
    return (same or name in load().implied.values()) and (placed or valued)


def _with_unit(
    units: tuple[UnitWords, ...],
    component: Mention | None,
    said: Mention | None,
    last: Reading | None,
) -> Measure:
    """Words decide first, then the list, then what is usual for the component, then the unit."""
    if said is not None:
        fitting = tuple(u for u in units if said.name in u.quantities)
        return _of_units(said.name, fitting or units, "said")
    if last is not None and any(last.quantity in u.quantities for u in units):
        fitting = tuple(u for u in units if last.quantity in u.quantities)
        return _of_units(last.quantity, fitting, "carried on within the list")
    for unit in units:
        habit = _habit(component, unit)
        if habit:
            same = tuple(u for u in units if _habit(component, u) == habit)
            return _of_units(habit, same, f"usual for {component.name} in {unit.name}")
    return _of_units(units[0].quantities[0], units, "usual for the unit")


def _usual_units(
    context: Context, units: tuple[UnitWords, ...], said: Mention | None
) -> tuple[UnitWords, ...]:
    """Without the units that are meant only when what they measure, or they themselves, were
    named."""
    named = context.said_units - {u.name for u in units[:1]}
    kept = tuple(
        u
        for u in units
        if u.name not in load().rare_units
        or u.name in named
        or (said is not None and said.name in u.quantities)
    )
    return kept or units


def _habit(component: Mention | None, unit: UnitWords) -> str | None:
    if component is None:
        return None
    habits = load().habits
    return habits.get((component.name, unit.name)) or habits.get((component.base, unit.name))


def _of_units(quantity: str, units: tuple[UnitWords, ...], why: str) -> Measure:
    unit = units[0]
    if len(units) == 1:
        return Measure(quantity, unit.name, why, "")
    names = " or ".join(u.name for u in units)
    return Measure(quantity, unit.name, why, "", f"the unit could be {names}", units[1:])


def _settled(
    context: Context, item: RoledNumber, component: Mention | None, measure: Measure
) -> Measure:
    """A unit word that could be two units, as far as the note itself settles it."""
    liquid = component is not None and {component.name, component.base} & load().liquids
    names = {u.name for u in item.unit.units}
    if liquid and "ml" in names and measure.quantity not in ("depth", "level", "height"):
        return Measure("volume", "ml", "usual for a liquid", "unit ml: of a liquid; ")
    if not measure.others:
        return measure
    if {"mm", "thou"} <= names and (why := _why_millimetre(item, measure)):
        return _certain(measure, "mm", why)
    if {"mm", "thou"} <= names and "thou" in context.said_units:
        return _certain(measure, "mm", "the speaker says thou for the other")
    fitting = (measure.unit, *(u.name for u in measure.others))
    said = next((name for name in fitting if name in context.said_units), None)
    if said is not None:
        unit = next(u for u in item.unit.units if u.name == said)
        fits = measure.quantity in unit.quantities
        measure = measure if fits else replace(measure, quantity=unit.quantities[0])
        return _certain(measure, said, "the unit that was said elsewhere in the note")
    return _either(measure, item) if {"mm", "thou"} <= names else measure


def _certain(measure: Measure, unit: str, why: str) -> Measure:
    return replace(measure, unit=unit, doubt=None, others=(), why_unit=f"unit {unit}: {why}; ")


def _why_millimetre(item: RoledNumber, measure: Measure) -> str | None:
    if 0 < abs(item.number.value) < SMALL_MIL:
        return "a part of a mil is a part of a millimetre"
    if measure.quantity in LARGE:
        return f"a {measure.quantity} is measured in millimetres"
    return None


def _either(measure: Measure, item: RoledNumber) -> Measure:
    """Millimetre or thou, to be asked about; the check may settle it."""
    both = tuple(u for u in item.unit.units if u.name in ("mm", "thou"))
    others = tuple(u for u in both if u.name != "mm")
    return replace(measure, unit="mm", others=others, doubt="the unit could be mm or thou")


# ---- the rest of a reading -----------------------------------------------------------------------


def _heard_badly(context: Context, first: int, last: int) -> str | None:
    """A value is as good as its worst-heard word."""
    heard = [w for w in context.transcript.words[first : last + 1] if w.confidence is not None]
    worst = min(heard, key=lambda word: word.confidence, default=None)
    if worst is None or worst.confidence >= SURE:
        return None
    return f'"{worst.text}" was not heard clearly'


def _alternatives(item: RoledNumber, measure: Measure) -> tuple[Alternative, ...]:
    numbers = tuple(
        Alternative(n.value, n.said, measure.unit, "the same words read another way")
        for n in item.others
    )
    units = tuple(
        Alternative(item.number.value, item.number.said, u.name, "the unit word is used for both")
        for u in measure.others
    )
    return numbers + units


def _condition(context: Context, first: int, last: int) -> str | None:
    """The state in which it was measured, said near: "hot", "on load"."""
    close = near(context.mentions.of("state"), first, last)
    near_by = [s for s in close if first - BEFORE <= s.first and s.last <= last + BEHIND]
    return near_by[-1].name if near_by else None
