"""Step 5b: a roled number -> a reading, or the reason why it cannot be one. Knows no bands.

A bare number is a reading only when what it measures is known: from a quantity word, or because it
goes on with the reading before it ("twelve mil at the bottom and nine at the front").
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from talklog.context import Context
from talklog.links import PASSAGE, SAYING
from talklog.mentions import Mention
from talklog.notes import NOT_SAID, Alternative, Meant, Reading, Unsure
from talklog.places import TENTH, THOU
from talklog.quantity import NOT_MEANT, Quantity, Setting, quantity_of, unit_chances
from talklog.role_rules.doubts import GIVEN_UP, OF_WHAT, UNPOINTED
from talklog.roled import MEASURING, RoledNumber
from talklog.vocabulary import load
from talklog.word_kinds import UnitWords

CROSSING = ("temperature", "angle", "toe")  # their values lie on both sides of nothing
GOES_ON = 22  # words: how far a bare value may stand behind the reading that it goes on with
CLOSE = 9  # words: within these a carried unit is said in the reason, beyond it is asked about

NOT_KNOWN = "a number without a unit, and it was not said what it measures"
OF_ANOTHER_THING = "the unit was said only of another thing"
OF_EARLIER = "the unit was said only of an earlier value"
FAR_OFF = 20  # times a value whose unit it borrowed: of such values each fourth was not right
UNLIKE = "in its unit it is far from the values before, so it may measure something else"
DOINGS = ("turns", "angle")  # said of what was done: a bare value does not go on with them
SURE = 0.9  # P(reading) from which a bare number is one, even of something not said
GUESSED = 0.3  # the same as LIKELY, of a number that certainly is a reading
LIKELY = 0.5  # a bare number whose quantity is less probable than this is no reading
BEFORE_PLACES = ("on", "number")  # "one forty psi on three": the three is no pressure
LONG = 1000  # millimetres: none of what is measured finely is as large
FINE = (
    *("clearance", "gap", "play", "backlash", "runout", "thickness", "diameter", "taper"),
    *("flatness", "squareness", "deflection", "elongation", "depth", "width"),
)
HARDLY = 0.3  # probability of a unit, by the reader, below which its word is asked about
SMALL_MIL = 1  # a part of a mil is a part of a millimetre: nobody measures a quarter of a thou
METRIC = ((frozenset(("degC", "degF")), "degC"), (frozenset(("mm", "thou")), "mm"))
# in notes of train with metric units and no others "mil" was mm 1,930 times of 1,930
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


def make_reading(
    context: Context, item: RoledNumber, earlier: Sequence[Reading]
) -> Reading | Unsure:
    """The reading of a number; ``earlier`` are those before it, with which it may go on."""
    last = next((r for r in reversed(earlier) if r.quantity not in DOINGS), None)
    setting = setting_of(context, item, last)
    quantity = _quantity_read(setting)
    if quantity is None:
        return Unsure(NOT_KNOWN, item.number.first, item.last)
    measure = _measure(setting, quantity, earlier)
    reading = _reading(setting, _pointed(item, measure), measure, quantity)
    firm = None if reading.doubt in GIVEN_UP else reading.doubt
    return replace(reading, doubt=firm or _unlike(item, reading, earlier) or reading.doubt)


def _quantity_read(setting: Setting) -> Quantity | None:
    """What a number measures; ``None`` if it has no unit, and nothing says what it is of."""
    context, item = setting.context, setting.item
    known = setting.component is not None or setting.said is not None or item.unit is not None
    if not known and not _goes_on(setting) and not _is_sure(context, item):
        return None
    quantity = quantity_of(setting)
    likely = quantity.chance >= (GUESSED if _is_sure(context, item) else LIKELY)
    unlikely = item.unit is None and (not likely or _is_pronoun(context, item))
    return None if unlikely else quantity


def _reading(setting: Setting, item: RoledNumber, measure: Measure, quantity: Quantity) -> Reading:
    """``item`` is the number of the setting, perhaps with a point that was not said."""
    context, first = setting.context, item.number.first
    name, why_component = _component(setting, measure)
    role, why_role = _role(item, measure)
    return Reading(
        quantity=measure.quantity,
        component=name,
        position=context.position_of(first, setting.component),
        condition=context.state_of(first),
        value=item.number.value,
        said=item.number.said,
        unit=measure.unit,
        role=role,
        first=_first_word(setting.said, first),
        last=max(item.last, item.number.last),
        reason=f"role {role}: {why_role}; quantity {measure.quantity}: {measure.why_quantity}; "
        f"{measure.why_unit}component: {why_component}",
        doubt=_doubt(context, item, measure),
        alternatives=_alternatives(item, measure),
        may_be=tuple(_may_be(context, first, name, replace(quantity, name=measure.quantity))),
        thing_chance=context.chance_of_component(first),
    )


def _component(setting: Setting, measure: Measure) -> tuple[str, str]:
    """The name of the thing that a number belongs to, and how it is known."""
    context, first = setting.context, setting.item.number.first
    component, why = context.component_of(first)
    if component is not None and _is_never_of(measure.quantity, component):
        return NOT_SAID, f"a {measure.quantity} is never that of a {component.name}"
    name = context.component_name(component, measure.quantity, first)
    implied = load().implied.get(measure.quantity)
    said = setting.said is not None and setting.said.name == measure.quantity
    if implied and said and name != implied:
        return implied, f"what {measure.quantity} is of"
    return name, why


def _is_never_of(quantity: str, component: Mention) -> bool:
    """Whether such a thing has no such quantity: the torque behind a seal is of something else."""
    names = {component.name, component.base, component.name.split()[-1]}
    return not names.isdisjoint(load().never_of.get(quantity, frozenset()))


def _may_be(context: Context, first: int, name: str, quantity: Quantity) -> Iterator[Meant]:
    """Other things and quantities of a number, each with how probable both together are."""
    things = {name: 1.0} | {
        context.component_name(thing, quantity.name, first): chance
        for thing, chance in context.maybe_components(first)
    }
    for component, of_thing in things.items():
        for measured, share in ((quantity.name, 1.0), *quantity.others):
            if (component, measured) != (name, quantity.name):
                yield Meant(measured, component, of_thing * share)


def _doubt(context: Context, item: RoledNumber, measure: Measure) -> str | None:
    """Why a reading must be asked about. What the model of sureness may give up comes last, so that
    nothing that stays goes with it."""
    firm, soft = (None, item.doubt) if item.doubt in GIVEN_UP else (item.doubt, None)
    below = item.number.value < 0 and measure.quantity not in load().signed
    negative = f"a {measure.quantity} below nothing" if below else None
    return firm or measure.doubt or negative or _doubtful_place(context, item) or soft


def _unlike(item: RoledNumber, reading: Reading, earlier: Sequence[Reading]) -> str | None:
    """A value that borrowed its unit and is far from those before it: "twenty four point six
    ... now point oh two" is no thickness of 0.02 mm."""
    borrowed = reading.unit is not None and (item.carried or item.unit is None)
    if not borrowed or reading.quantity in load().wide:
        return None
    alike, units = (reading.quantity, reading.component), (reading.unit, None)
    same = (r for r in earlier if (r.quantity, r.component) == alike and r.unit in units)
    before = [r.value for r in same]
    sizes = [sorted((abs(reading.value), abs(value))) for value in before]
    return UNLIKE if sizes and all(0 < low * FAR_OFF <= high for low, high in sizes) else None


def _doubtful_place(context: Context, item: RoledNumber) -> str | None:
    """ "two ninety nine" behind "one a hundred": 299, or 99 of the second?"""
    read = context.read_of.get(item.first)
    own = range(item.number.first, item.number.last + 1)
    inside = read is not None and any(at in own for at in read.place)
    return "a word of the number may say its place" if inside else None


def _is_sure(context: Context, item: RoledNumber) -> bool:
    """Whether the trained reader is all but certain that a number is a reading."""
    read = context.read_of.get(item.first)
    return read is not None and sum(read.roles[role] for role in MEASURING) >= SURE


def _is_pronoun(context: Context, item: RoledNumber) -> bool:
    """ "the other one": a bare "one" is a value only where a value is said."""
    words = context.transcript.words
    before = words[item.first - 1].text if item.first else ""
    return item.number.said == "1" and words[item.first].text == "one" and before not in SAYING


def _first_word(said: Mention | None, first: int) -> int:
    """A reading begins with its quantity word when that stands close before it."""
    return said.first if said is not None and 0 < first - said.last <= 3 else first


def _role(item: RoledNumber, measure: Measure) -> tuple[str, str]:
    usual = load().usual_roles.get(measure.quantity)
    if usual and not item.sure and item.role == "measured":
        return usual, f"usual for {measure.quantity}"
    return item.role, item.because


# ---- what was measured ---------------------------------------------------------------------------


def setting_of(context: Context, item: RoledNumber, last: Reading | None) -> Setting:
    """What is known of a number before its quantity is."""
    units = item.unit.units if item.unit else ()
    said = context.quantity_word(item.number.first, item.last, units)
    component, _ = context.component_of(item.number.first)
    return Setting(context, item, component, _usual_units(context, units, said), said, last)


def _measure(setting: Setting, quantity: Quantity, earlier: Sequence[Reading]) -> Measure:
    item = setting.item
    if item.unit is None:
        return _bare(setting, quantity, earlier)
    fitting = tuple(unit for unit in setting.units if quantity.name in unit.quantities)
    measure = _of_units(quantity, fitting or setting.units)
    measure = _settled(setting.context, item, setting.component, measure)
    measure = _contested(setting, measure)
    meant = load().becomes.get((measure.unit, measure.quantity), measure.unit)
    measure = replace(measure, unit=meant)
    return _of_another(setting, measure, earlier) if item.lent else measure


def _of_another(setting: Setting, measure: Measure, earlier: Sequence[Reading]) -> Measure:
    """A unit that was said of another thing is asked about."""
    lender = next((r for r in reversed(earlier) if r.unit == measure.unit), None)
    name = setting.component.name if setting.component else NOT_SAID
    same = lender is not None and (name in (NOT_SAID, lender.component) or setting.said)
    same = same and _of_one_sign(setting, lender)
    doubt = measure.doubt or (None if same else OF_ANOTHER_THING)
    return replace(measure, doubt=doubt)


def _bare(setting: Setting, quantity: Quantity, earlier: Sequence[Reading]) -> Measure:
    """A number without a unit goes on in the unit of the last reading that measures the same; how
    far that may be trusted depends on how far it is."""
    if quantity.name in load().unitless:
        return Measure(quantity.name, None, quantity.why, "")
    alike = (r for r in reversed(earlier) if r.quantity == quantity.name)
    last = next(alike, None) if _may_go_on(setting) else None
    if last is None or not last.unit or setting.item.first - last.last > PASSAGE:
        return Measure(quantity.name, None, quantity.why, "", "no unit was said")
    name = setting.component.name if setting.component else NOT_SAID
    borrowed = setting.said is None and NOT_SAID != name != last.component
    borrowed = borrowed or not _of_one_sign(setting, last)
    far = setting.item.first - last.last > CLOSE or last is not setting.last
    asked = last.doubt is not None and "unit" in last.doubt  # its heir is no surer than itself
    doubt = OF_EARLIER if far or borrowed or asked else None
    why = f"unit {last.unit}: carried on from the value before; "
    return Measure(quantity.name, last.unit, quantity.why, why, doubt)


def _of_one_sign(setting: Setting, lender: Reading) -> bool:
    """ "twelve volts, glycol minus fifteen": a value below nothing may be of another kind."""
    crosses = (setting.item.number.value < 0) != (lender.value < 0)
    return not crosses or lender.quantity in CROSSING


def _goes_on(setting: Setting) -> bool:
    """Whether a bare number may go on with the reading just before it."""
    last, item = setting.last, setting.item
    return last is not None and 0 < item.first - last.last <= GOES_ON and _may_go_on(setting)


def _may_go_on(setting: Setting) -> bool:
    """Whether a bare number may go on with any value said before: "on three" may not."""
    item = setting.item
    before = setting.context.transcript.words[item.first - 1].text if item.first else ""
    return before not in BEFORE_PLACES and item.number.form not in ("ordinal", "fraction")


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


def _of_units(quantity: Quantity, units: tuple[UnitWords, ...]) -> Measure:
    unit, why = units[0], quantity.why
    if len(units) == 1:
        return Measure(quantity.name, unit.name, why, "")
    usual = load().usual_units.get(quantity.name)
    if usual in (u.name for u in units):
        return Measure(quantity.name, usual, why, f"unit {usual}: usual for {quantity.name}; ")
    names = " or ".join(u.name for u in units)
    return Measure(quantity.name, unit.name, why, "", f"the unit could be {names}", units[1:])


def _settled(
    context: Context, item: RoledNumber, component: Mention | None, measure: Measure
) -> Measure:
    """A unit word that could be two units, as far as the note itself settles it."""
    liquid = component is not None and {component.name, component.base} & load().liquids
    names = {u.name for u in item.unit.units}
    filled = measure.quantity not in ("depth", "level", "height") and _may_be_volume(context, item)
    if liquid and "ml" in names and filled:
        return Measure("volume", "ml", "usual for a liquid", "unit ml: of a liquid; ")
    if names == {TENTH} and THOU not in context.said_units and _is_metric(context.said_units):
        return replace(measure, doubt=OF_WHAT)
    if not measure.others:
        return measure
    if {"mm", "thou"} <= names and (why := _why_millimetre(item, measure)):
        return _certain(measure, "mm", why)
    if {"mm", "thou"} <= names and "thou" in context.said_units:
        return _certain(measure, "mm", "the speaker says thou for the other")
    for pair, unit in METRIC:
        if pair <= names and _is_metric(context.said_units):
            return _certain(measure, unit, "the note is in metric units")
    fitting = (measure.unit, *(u.name for u in measure.others))
    said = next((name for name in fitting if name in context.said_units), None)
    if said is not None:
        unit = next(u for u in item.unit.units if u.name == said)
        fits = measure.quantity in unit.quantities
        measure = measure if fits else replace(measure, quantity=unit.quantities[0])
        return _certain(measure, said, "the unit that was said elsewhere in the note")
    return _either(measure, item) if {"mm", "thou"} <= names else measure


def _is_metric(said: frozenset[str]) -> bool:
    return bool(said & load().metric) and not said & load().inch_pound


def _contested(setting: Setting, measure: Measure) -> Measure:
    """ "cables tightened to one forty pounds": a torque was said, but the trained reader takes it
    for a tension, and then the pounds are others."""
    item = setting.item
    chances = unit_chances(setting.context, item.first, item.unit.units)
    if measure.doubt or chances.get(measure.unit, 1.0) >= HARDLY:
        return measure
    others = tuple(u for u in item.unit.units if chances[u.name] > chances[measure.unit])
    names = " or ".join((measure.unit, *(u.name for u in others)))
    return replace(measure, doubt=f"the unit could be {names}", others=others)


def _may_be_volume(context: Context, item: RoledNumber) -> bool:
    """Not in "the fork four mil out of true", where the trained reader excludes it."""
    read = context.read_of.get(item.first)
    return read is None or read.quantities.get("volume", 0.0) >= NOT_MEANT


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


def _pointed(item: RoledNumber, measure: Measure) -> RoledNumber:
    """ "bore forty seven oh two", "clearance oh six": of what is measured finely the number with
    the point that was not said, to be asked about."""
    number = item.number
    long = number.form == "grouped" and number.value >= LONG
    if measure.quantity not in FINE or measure.unit not in (None, "mm"):
        return item
    if not long and not (number.form == "digits" and number.said.startswith("0")):
        return item
    ends = (number.first, number.last)
    whole = [n for n in item.others if n.form == "implied" and (n.first, n.last) == ends]
    if not whole:
        return item
    others = (number, *(n for n in item.others if n is not whole[0]))
    return replace(item, number=whole[0], others=others, doubt=UNPOINTED)


# ---- the rest of a reading -----------------------------------------------------------------------


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
