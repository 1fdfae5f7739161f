"""Verdicts: which band judges a reading, where the limits lie, and what stays unsure."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from talklog.bands import BandSheet, parse_bands
from talklog.check import check
from talklog.notes import NOT_SAID, Alternative, Meant, Notes, Reading
from talklog.verdicts.kinds import Checked, CheckedReading
from talklog.verdicts.outcomes import limits_of


def reading(text: str, **more: object) -> Reading:
    """A reading from "quantity, component, value, unit"; unit "-" is none."""
    quantity, component, value, unit = (part.strip() for part in text.split(","))
    values: dict[str, object] = {"position": None, "condition": None, "role": "measured"}
    values |= {"first": 0, "last": 1, "reason": "", **more}
    return Reading(
        quantity=quantity,
        component=component,
        value=Decimal(value),
        said=value,
        unit=None if unit == "-" else unit,
        **values,  # type: ignore[arg-type]
    )


def sheet(*bands: str, machine: str = "", expects: str = "") -> BandSheet:
    """A sheet from lines "quantity, component, low, high, unit; more TOML"; "" is no limit."""
    text = f'[machine]\nkey = "t"\nname = "Test"\n{machine}\n'
    for line in bands:
        main, _, more = line.partition(";")
        quantity, component, low, high, unit = (part.strip() for part in main.split(","))
        text += f'[[band]]\nquantity = "{quantity}"\ncomponent = "{component}"\nsource = "card"\n'
        text += f"low = {low}\n" if low else ""
        text += f"high = {high}\n" if high else ""
        text += f'unit = "{unit}"\n' if unit else ""
        text += more.replace(";", "\n") + "\n"
    return parse_bands(text + expects)


def judged(one: Reading, bands: BandSheet | None) -> CheckedReading:
    return check(Notes(readings=(one,)), bands).readings[0]


# ---- limits --------------------------------------------------------------------------------------

GAP = "gap, plug, 0.20, 0.30, mm"
LIMITS = [  # band, value, unit, verdict
    (GAP, "0.25", "mm", "in_band"),
    (GAP, "0.20", "mm", "in_band"),
    (GAP, "0.30", "mm", "in_band"),
    (GAP, "0.19999", "mm", "low"),
    (GAP, "0.30001", "mm", "high"),
    (GAP, "10", "thou", "in_band"),  # 0.254 mm
    (GAP, "12", "thou", "high"),  # 0.3048 mm
    (GAP, "0.01", "in", "in_band"),
    ("gap, plug, 0.254, 0.254, mm", "10", "thou", "in_band"),  # equal across units, to the last bit
    ("gap, plug, 10, 10, thou", "0.254", "mm", "in_band"),
    ("gap, plug, 0.010, 0.010, in", "0.254", "mm", "in_band"),
    ("pressure, tyre, 30, 30, psi", "206.842718795", "kPa", "in_band"),  # within 1e-9
    ("pressure, tyre, 30, 30, psi", "206.8428", "kPa", "high"),
    ("temperature, coolant, 82, 82.3, degC", "180", "degF", "in_band"),
    ("temperature, freezer, -40, -40, degC", "-40", "degF", "in_band"),
    ("temperature, freezer, -25, -15, degC", "-14.9", "degC", "high"),
    ("temperature, freezer, -25, -15, degC", "-15", "degC", "in_band"),
    ("torque, nut, 25, 30, N.m", "20", "lbf.ft", "in_band"),  # 27.1 N.m
    ("torque, nut, 25, 30, N.m", "25", "lbf.ft", "high"),  # 33.9 N.m
    ("depth, tread, 1.6, , mm", "1.6", "mm", "in_band"),
    ("depth, tread, 1.6, , mm", "1.5", "mm", "low"),
    ("depth, tread, 1.6, , mm", "1000", "mm", "in_band"),
    ("runout, chuck, , 0.03, mm", "0", "mm", "in_band"),
    ("runout, chuck, , 0.03, mm", "0.03", "mm", "in_band"),
    ("runout, chuck, , 0.03, mm", "0.04", "mm", "high"),
    ("play, pin, 0, 0, mm", "0", "mm", "in_band"),
    ("play, pin, 0, 0, mm", "0.001", "mm", "high"),
    ("count, ball, 9, 9,", "9", "-", "in_band"),
    ("count, ball, 9, 9,", "8", "-", "low"),
    ("load, set, 9.3, 12.5, kW; high_open = true", "12.5", "kW", "high"),
    ("load, set, 9.3, 12.5, kW; high_open = true", "12.49", "kW", "in_band"),
    ("load, set, 9.3, 12.5, kW; high_open = true", "9.3", "kW", "in_band"),
    ("torque, nut, 25, 30, N.m", "27", "mm", "unit_mismatch"),
    ("torque, nut, 25, 30, N.m", "27", "N", "unit_mismatch"),
    ("pressure, tyre, 30, 32, psi", "31", "lb", "unit_mismatch"),
    ("mass, flywheel, 3, 5, kg", "4", "kgf", "unit_mismatch"),  # a mass is no force
    ("load, lever, 3, 5, kg", "4", "kgf", "in_band"),  # but a load is given in either
    ("load, lever, 3, 5, kg", "2", "kgf", "low"),
    ("load, lever, 3, 5, kg", "40", "N", "in_band"),  # 4.08 kg
    ("tension, belt, 20, 30, N", "6", "lb", "in_band"),  # 26.7 N
    ("load, lever, 3, 5, kg", "4", "N.m", "unit_mismatch"),
    ("speed, engine, 700, 900, rpm", "50", "Hz", "unit_mismatch"),
    ("count, ball, 9, 9,", "9", "mm", "unit_mismatch"),
    (GAP, "0.25", "-", "unsure"),
]


@pytest.mark.parametrize(("band", "value", "unit", "verdict"), LIMITS)
def test_limits(band: str, value: str, unit: str, verdict: str) -> None:
    quantity, component = band.split(",")[:2]
    found = judged(reading(f"{quantity},{component},{value},{unit}"), sheet(band))
    assert found.verdict == verdict, found.reason


@settings(max_examples=100, deadline=None)
@given(st.decimals("-1000", "1000", places=3), st.sampled_from(["mm", "thou", "in", "cm", "ft"]))
def test_only_one_verdict_and_the_limit_itself_is_in(limit: Decimal, unit: str) -> None:
    """A band in mm whose limits are exactly the value, however the value was said."""
    from talklog.units import convert

    exact = convert(limit, unit, "mm")
    band = sheet(f"gap, plug, {exact}, {exact}, mm")
    assert judged(reading(f"gap, plug, {limit}, {unit}"), band).verdict == "in_band"
    nudge = (abs(limit) or Decimal(1)) / 1000
    assert judged(reading(f"gap, plug, {limit + nudge}, {unit}"), band).verdict == "high"
    assert judged(reading(f"gap, plug, {limit - nudge}, {unit}"), band).verdict == "low"


def test_reason_says_value_limits_and_source() -> None:
    found = judged(reading("gap, plug, 12, thou"), sheet(GAP))
    assert found.reason == "12 thou = 0.3048 mm is above 0.20 to 0.30 mm (card)."
    assert found.band is not None and limits_of(found.band) == "0.20 to 0.30 mm"


@pytest.mark.parametrize(
    ("band", "text"),
    [
        ("depth, tread, 1.6, , mm", "at least 1.6 mm"),
        ("runout, chuck, , 0.03, mm", "at most 0.03 mm"),
        ("load, set, 9.3, 12.5, kW; high_open = true", "9.3 to less than 12.5 kW"),
        ("load, set, , 12.5, kW; high_open = true", "less than 12.5 kW"),
        ("count, ball, 9, 9,", "9 to 9"),
    ],
)
def test_limits_as_text(band: str, text: str) -> None:
    assert limits_of(sheet(band).bands[0]) == text


# ---- values that are easily misheard -------------------------------------------------------------

NEIGHBOURS = [  # band, value, unit, what the reason must hint at ("" for nothing)
    ("torque, nut, 50, 70, lbf.in", "60", "lbf.ft", "a twelfth of it"),
    ("torque, nut, 50, 70, lbf.ft", "60", "lbf.in", "12 times as much"),
    ("torque, nut, 50, 60, lbf.ft", "50", "lbf.in", "12 times as much"),  # exactly on the limit
    ("gap, plug, 0.20, 0.30, mm", "2.5", "mm", "a tenth of it"),
    ("gap, plug, 0.20, 0.30, mm", "0.025", "mm", "10 times as much"),
    ("gap, plug, 0.20, 0.30, mm", "0.35", "mm", ""),
    ("gap, plug, 0.20, 0.30, mm", "3", "mm", "a tenth of it"),
    ("gap, plug, 0.20, 0.30, mm", "0.25", "mm", ""),
    ("gap, plug, 0.20, 0.30, mm", "0.02", "mm", "10 times as much"),
    ("play, pin, 0.1, 0.2, mm", "0", "mm", ""),
    ("pressure, tyre, 24, 36, psi", "3", "psi", "10 times as much"),
    ("thickness, pad, 3, , mm", "2", "mm", ""),  # with one limit, ten times as much always fits
    ("runout, spindle, , 1, thou", "2", "thou", ""),
]


@pytest.mark.parametrize(("band", "value", "unit", "hint"), NEIGHBOURS)
def test_neighbour_is_hinted_at_never_used(band: str, value: str, unit: str, hint: str) -> None:
    quantity, component = band.split(",")[:2]
    found = judged(reading(f"{quantity},{component},{value},{unit}"), sheet(band))
    assert ("confirm before use" in found.reason) == bool(hint)
    assert hint in found.reason
    assert found.reading.value == Decimal(value)
    assert not hint or found.verdict in ("low", "high")


# ---- which band ----------------------------------------------------------------------------------

FRONT_REAR = sheet(
    'pressure, tyre, 30, 32, psi; position = "front"',
    'pressure, tyre, 34, 38, psi; position = "rear"',
)
VALVES = sheet(
    'clearance, inlet valve, 0.20, 0.30, mm; condition = "cold"',
    'clearance, inlet valve, 0.25, 0.35, mm; condition = "hot"',
    'clearance, exhaust valve, 0.40, 0.50, mm; condition = "cold"',
)
MIXED = sheet(
    "torque, nut, 20, 30, N.m",
    "torque, wheel nut, 90, 110, N.m",
    'torque, wheel nut, 120, 140, N.m; position = "rear"',
    'pressure, drive-belt, 1, 2, bar; also = ["fan strap"]',
    "play, hub, 0.1, 0.2, mm",
)
WHICH = [  # sheet, reading, position, condition, verdict, in the reason
    (FRONT_REAR, "pressure, tyre, 31, psi", "front", None, "in_band", ""),
    (FRONT_REAR, "pressure, tyre, 31, psi", "rear", None, "low", ""),
    (FRONT_REAR, "pressure, tyres, 31, psi", "front left", None, "in_band", ""),
    (FRONT_REAR, "pressure, tyre, 31, psi", None, None, "unsure", "No position was said"),
    (FRONT_REAR, "pressure, tyre, 20, psi", None, None, "low", "No position was said"),
    (FRONT_REAR, "pressure, tyre, 31, psi", "spare", None, "no_band", "front, rear"),
    (FRONT_REAR, "pressure, pump, 31, psi", "front", None, "no_band", "no band for pump"),
    (FRONT_REAR, "temperature, tyre, 31, degC", "front", None, "no_band", "no band for tyre"),
    (VALVES, "clearance, inlet valve, 0.25, mm", "cylinder 1", "cold", "in_band", ""),
    (VALVES, "clearance, inlet valve, 0.32, mm", None, "hot", "in_band", ""),
    (VALVES, "clearance, inlet valve, 0.32, mm", None, None, "unsure", "No condition was said"),
    (VALVES, "clearance, inlet valve, 0.28, mm", None, None, "in_band", "No condition was said"),
    (VALVES, "clearance, inlet valve, 0.50, mm", None, None, "high", "No condition was said"),
    (VALVES, "clearance, exhaust valve, 0.45, mm", None, "hot", "no_band", "other cases: cold"),
    (VALVES, "clearance, exhaust valve, 0.45, mm", None, None, "in_band", "band is for cold"),
    (VALVES, "clearance, exhaust valve, 0.45, mm", None, "engine cold", "in_band", ""),
    (VALVES, "clearance, valve, 0.45, mm", None, "cold", "unsure", "Only 'valve' was said"),
    (VALVES, f"clearance, {NOT_SAID}, 0.45, mm", None, "cold", "unsure", "No component was said"),
    (VALVES, "gap, inlet valve, 0.25, mm", None, "cold", "in_band", "Said as gap"),
    (VALVES, "gap, inlet valve, 0.25, -", None, "cold", "no_band", "no band"),
    (MIXED, "torque, wheel nut, 100, N.m", "front", None, "in_band", ""),
    (MIXED, "torque, wheel nut, 100, N.m", "rear", None, "low", ""),
    (MIXED, "torque, Wheel-Nuts, 100, N.m", None, None, "in_band", ""),
    (MIXED, "torque, gland nut, 25, N.m", None, None, "in_band", "band for any nut"),
    (MIXED, "pressure, drive belts, 3, bar", None, None, "high", ""),
    (MIXED, "pressure, drivebelt, 3, bar", None, None, "high", ""),
    (MIXED, "pressure, fan strap, 3, bar", None, None, "high", ""),
    (MIXED, "backlash, hub, 0.3, mm", None, None, "high", "judged by the band for play"),
]


@pytest.mark.parametrize(("bands", "text", "position", "condition", "verdict", "said"), WHICH)
def test_which_band(
    bands: BandSheet, text: str, position: str, condition: str, verdict: str, said: str
) -> None:
    found = judged(reading(text, position=position, condition=condition), bands)
    assert found.verdict == verdict, found.reason
    assert said in found.reason


# A name in the sheet, a name in the record: which of them are one. Common practice, no source.
NAMED_ALIKE = [
    ("brake pad", "pad", "low"),
    ("pad", "brake pad", "low"),
    ("mower blade", "blade", "low"),
    ("blade", "mower blade", "low"),
    ("disc", "rotor", "low"),
    ("oil seal", "crank seal", "low"),
    ("radiator hose", "top hose", "low"),
    ("top hose", "radiator hose", "low"),
    ("fan blade", "blade", "unsure"),  # only part of the name was said
    ("fan blade", "mower blade", "no_band"),
]


@pytest.mark.parametrize(("band", "said", "verdict"), NAMED_ALIKE)
def test_a_thing_is_found_in_the_sheet_under_either_name(
    band: str, said: str, verdict: str
) -> None:
    bands = sheet(f"thickness, {band}, 4, 9, mm")
    assert judged(reading(f"thickness, {said}, 2, mm"), bands).verdict == verdict


def test_the_band_of_the_very_name_counts_first() -> None:
    """Both are radiator hoses; each has its own limits."""
    bands = sheet("temperature, top hose, 80, 95, degC", "temperature, bottom hose, 50, 75, degC")
    for name, verdict in (("top hose", "low"), ("bottom hose", "in_band")):
        assert judged(reading(f"temperature, {name}, 60, degC"), bands).verdict == verdict


def test_what_is_expected_may_have_either_name() -> None:
    one = '[[expect]]\nquantity = "thickness"\ncomponent = "{}"\ncount = 1\n'
    for name, flagged in (("brake pad", False), ("pad", False), ("wear pad", True)):
        expecting = sheet(expects=one.format(name))
        found = check(Notes(readings=(reading("thickness, pad, 5, mm"),)), expecting)
        assert bool(found.flags) == flagged


@pytest.mark.parametrize("said", ["cylinder 2", "cylinder two", "two", "number 2", "2"])
def test_positions_are_compared_by_their_words(said: str) -> None:
    bands = sheet(
        'gap, plug, 0.6, 0.7, mm; position = "cylinder 2"',
        'gap, plug, 0.9, 1.0, mm; position = "cylinder 1"',
    )
    assert judged(reading("gap, plug, 0.65, mm", position=said), bands).verdict == "in_band"


def test_a_position_not_said_is_not_guessed_from_the_only_band() -> None:
    bands = sheet('pressure, tyre, 30, 32, psi; position = "front"')
    assert judged(reading("pressure, tyre, 31, psi"), bands).verdict == "unsure"


def test_authority_that_counts() -> None:
    rivals = (
        'torque, nut, 20, 30, N.m; authority = "maker"',
        'torque, nut, 25, 40, N.m; authority = "club"',
    )
    for name, verdict in (("maker", "high"), ("club", "in_band")):
        found = judged(
            reading("torque, nut, 35, N.m"), sheet(*rivals, machine=f'authority = "{name}"')
        )
        assert found.verdict == verdict
        assert f"Authority: {name}." in found.reason


@pytest.mark.parametrize(
    ("said", "chance", "verdict"),
    [
        ("pressure, gauge, 45, psi", "0.3", "unsure"),  # no band for a gauge, out for the tyre
        ("pressure, gauge, 45, psi", "0.0001", "no_band"),  # next to nothing speaks for the tyre
        ("pressure, gauge, 32, psi", "0.3", "no_band"),  # would be within
        ("pressure, pump, 45, psi", "0.4", "unsure"),  # within its own band, out for the tyre
        ("pressure, pump, 45, psi", "0.1", "in_band"),
        ("pressure, pump, 80, psi", "0.4", "high"),  # out of its own band: said as such
    ],
)
def test_what_may_be_of_something_else_and_out_is_asked(
    said: str, chance: str, verdict: str
) -> None:
    bands = sheet("pressure, tyre, 30, 36, psi", "pressure, pump, 40, 50, psi")
    found = judged(reading(said, may_be=(Meant("pressure", "tyre", float(chance)),)), bands)
    assert found.verdict == verdict
    assert ("It may be tyre: pressure" in found.reason) == (verdict == "unsure")


@pytest.mark.parametrize(
    ("said", "bands", "verdict"),
    [
        ("frequency, generator set, 51.5, Hz", 1, "unsure"),
        ("frequency, generator set, 50, Hz", 1, "no_band"),  # nothing to ask: it would be in band
        ("frequency, alternator, 51.5, Hz", 1, "no_band"),
        ("frequency, generator set, 51.5, Hz", 2, "no_band"),  # nobody can tell which is meant
    ],
)
def test_what_was_said_of_the_whole_machine_may_be_of_the_one_thing_that_is_limited(
    said: str, bands: int, verdict: str
) -> None:
    things = ["output terminal", "inverter"][:bands]
    lines = [f"frequency, {thing}, 49.5, 50.5, Hz" for thing in things]
    found = judged(reading(said), sheet(*lines, machine='kind = "generator"'))
    assert found.verdict == verdict
    assert ("output terminal" in found.reason) == (verdict == "unsure")


# What was understood, how sure its thing is, all words of the note -> the verdict. Common practice.
FLYWHEEL = "time, flywheel, 20, 25, s"
TORQUE = 'torque, flange bolt, 20, 30, N.m; position = "front"'
MISTAKEN = [
    # all words of one name stand in the other
    ("time, flywheel bearing, 17, s", 0.99, "", FLYWHEEL, "unsure"),
    ("time, flywheel bearing, 22, s", 0.99, "", FLYWHEEL, "no_band"),  # it would be in band
    ("angle, flywheel bearing, 17, deg", 0.99, "", FLYWHEEL, "no_band"),  # another kind of unit
    ("time, flywheel bearing, 900, s", 0.99, "", FLYWHEEL, "no_band"),  # far from the limits
    ("time, flywheel bearing, 17, s", None, "", FLYWHEEL, "no_band"),  # a person said so
    ("depth, die block, 9, mm", 0.99, "", "height, die block, 5, 7, mm", "unsure"),
    # another thing was named in the note
    ("time, brake, 17, s", 0.9, "brake flywheels slow", FLYWHEEL, "unsure"),
    ("time, brake, 17, s", 0.99, "brake flywheels slow", FLYWHEEL, "no_band"),  # surely the brake
    ("time, brake, 17, s", 0.9, "brake slow", FLYWHEEL, "no_band"),
    ("depth, arm, 9, mm", 0.9, "arm die blocks", "height, die block, 5, 7, mm", "no_band"),
    ("torque, gasket, 40, N.m", 0.8, "gasket flange bolts", TORQUE, "unsure"),
]


@pytest.mark.parametrize(("said", "chance", "words", "band", "verdict"), MISTAKEN)
def test_what_no_band_fits_may_have_been_understood_wrongly(
    said: str, chance: float | None, words: str, band: str, verdict: str
) -> None:
    one = reading(said, thing_chance=chance)
    found = check(Notes(readings=(one,), words=tuple(words.split())), sheet(band))
    assert found.readings[0].verdict == verdict
    assert ("It may be" in found.readings[0].reason) == (verdict == "unsure")


@pytest.mark.parametrize(
    ("position", "verdict"), [("rear", "no_band"), ("front", "unsure"), ("lower", "unsure")]
)
def test_another_place_on_the_same_axis_is_not_meant(position: str, verdict: str) -> None:
    one = reading("torque, gasket, 40, N.m", thing_chance=0.8, position=position)
    notes = Notes(readings=(one,), words=("gasket", "flange", "bolts"))
    assert check(notes, sheet(TORQUE)).readings[0].verdict == verdict


def test_neither_another_condition_nor_another_authority_is_meant() -> None:
    one = reading("time, flywheel bearing, 17, s", thing_chance=0.9, condition="warm")
    cold, warm = (sheet(f'{FLYWHEEL}; condition = "{state}"') for state in ("cold", "warm"))
    assert judged(one, cold).verdict == "no_band"
    assert judged(one, warm).verdict == "unsure"
    rivals = sheet(
        f'{FLYWHEEL}; authority = "club"',
        'time, brake, 1, 2, s; authority = "maker"',
        machine='authority = "maker"',
    )
    assert judged(one, rivals).verdict == "no_band"


def test_a_band_that_judged_something_is_not_meant_by_another_reading() -> None:
    own = reading("time, flywheel, 22, s")
    other = reading("time, flywheel bearing, 17, s", thing_chance=0.9)
    found = check(Notes(readings=(own, other)), sheet(FLYWHEEL)).readings
    assert [one.verdict for one in found] == ["in_band", "no_band"]


@pytest.mark.parametrize(
    ("said", "position", "band"),
    [
        ("pressure, tyre, 40, psi", None, "pressure, tire, 30, 36, psi"),
        ("pressure, water pump, 40, psi", None, "pressure, coolant pump, 30, 36, psi"),
        ("torque, water pump bolt, 40, N.m", None, "torque, coolant pump bolt, 20, 30, N.m"),
        ("pressure, tyre, 40, psi", "rear left", 'pressure, tyre, 30, 36, psi; position = "back"'),
        ("play, arm, 4, mm", "bottom", 'play, arm, 0, 2, mm; position = "lower"'),
        ("play, arm, 4, mm", "nearside", 'play, arm, 0, 2, mm; position = "near side"'),
        ("gap, lamp, 4, mm", "drive side", 'gap, lamp, 0, 2, mm; position = "at the drive end"'),
    ],
)
def test_the_sheet_may_name_things_and_places_as_people_do(
    said: str, position: str | None, band: str
) -> None:
    """The record has one name for each; a band under another was never found."""
    assert judged(reading(said, position=position), sheet(band)).verdict == "high"


def test_without_a_sheet() -> None:
    assert judged(reading("gap, plug, 1, mm"), None).verdict == "no_band"
    assert judged(reading("gap, plug, 1, mm", doubt="seven or eleven"), None).verdict == "unsure"


# ---- doubt ---------------------------------------------------------------------------------------


def ways(*units: str, value: str = "0.25") -> tuple[Alternative, ...]:
    return tuple(Alternative(Decimal(value), value, unit, "mil") for unit in units)


def test_doubt_is_never_settled_and_every_way_is_judged() -> None:
    other = Alternative(Decimal("0.7"), "0.7", "mm", "eleven")
    found = judged(
        reading("gap, plug, 0.25, mm", doubt="could be 0.7", alternatives=(other,)), sheet(GAP)
    )
    assert found.verdict == "unsure"
    assert found.reason == (
        "Could be 0.7. 0.25 mm is within 0.20 to 0.30 mm (card). "
        "0.7 mm is above 0.20 to 0.30 mm (card)."
    )


def test_mil_is_settled_by_the_band_when_only_its_unit_fits() -> None:
    found = judged(
        reading("gap, plug, 0.25, thou", doubt="mil", alternatives=ways("mm")), sheet(GAP)
    )
    assert (found.verdict, found.reading.unit, found.reading.value) == (
        "in_band",
        "mm",
        Decimal("0.25"),
    )
    assert "Could be thou or mm; taken as mm, the unit of the band." in found.reason


def test_mil_stays_unsure_when_the_other_unit_fits() -> None:
    """10 "mil" against 0.20 to 0.30 mm: 10 mm is out, 10 thou is in."""
    found = judged(
        reading("gap, plug, 10, mm", doubt="mil", alternatives=ways("thou", value="10")), sheet(GAP)
    )
    assert (found.verdict, found.reading.unit) == ("unsure", "mm")


def test_mil_stays_unsure_when_both_fit() -> None:
    wide = sheet("gap, plug, 0.001, 1, mm")
    found = judged(reading("gap, plug, 0.25, mm", doubt="mil", alternatives=ways("thou")), wide)
    assert found.verdict == "unsure"


def test_mil_out_either_way_is_flagged_in_the_units_of_the_band() -> None:
    found = judged(
        reading("gap, plug, 90, thou", doubt="mil", alternatives=ways("mm", value="90")), sheet(GAP)
    )
    assert (found.verdict, found.reading.unit) == ("high", "mm")
    assert "Could be thou or mm" in found.reason


def test_pint_stays_unsure_where_the_two_pints_differ() -> None:
    bands = sheet("volume, sump, 3.3, 3.5, l")
    found = judged(
        reading("volume, sump, 6, pt", doubt="pint", alternatives=ways("pt_us", value="6")), bands
    )
    assert found.verdict == "unsure"
    assert "6 pt = 3.40957 l is within" in found.reason
    assert "6 pt_us = 2.83906 l is below" in found.reason


def test_unit_not_said_names_the_bands_unit() -> None:
    found = judged(reading("gap, plug, 0.25, -"), sheet(GAP))
    assert found.reason.startswith("No unit was said; if mm is meant: 0.25 mm is within")
    assert found.reading.unit is None


# ---- flags ---------------------------------------------------------------------------------------


def flags(checked: Checked) -> list[tuple[str, str]]:
    return [(flag.level, flag.about) for flag in checked.flags]


NUT = "torque, nut, 20, 30, N.m"
LEVELS = [  # band, role, value, level
    (NUT, "measured", "35", "look"),
    (NUT, "as_found", "35", "look"),
    (NUT, "set", "35", "stop"),
    (NUT, "as_left", "35", "stop"),
    (NUT + "; critical = true", "measured", "35", "stop"),
    (NUT + "; critical = true", "as_found", "10", "stop"),
]


@pytest.mark.parametrize(("band", "role", "value", "level"), LEVELS)
def test_level_of_a_flag(band: str, role: str, value: str, level: str) -> None:
    notes = Notes(readings=(reading(f"torque, nut, {value}, N.m", role=role),))
    assert flags(check(notes, sheet(band))) == [(level, "nut: torque")]


def test_found_out_and_left_in_is_a_note() -> None:
    notes = Notes(
        readings=(
            reading("torque, nut, 35, N.m", role="as_found"),
            reading("torque, nut, 25, N.m", role="as_left"),
        )
    )
    checked = check(notes, sheet(NUT + "; critical = true"))
    assert flags(checked) == [("note", "nut: torque")]
    assert "Later 25 N.m as left." in checked.flags[0].text
    assert checked.flags[0].reading == 0


def test_left_out_again_is_not_put_right() -> None:
    values = (("35", "as_found"), ("25", "set"), ("36", "as_left"))
    notes = Notes(readings=tuple(reading(f"torque, nut, {v}, N.m", role=r) for v, r in values))
    assert [flag.level for flag in check(notes, sheet(NUT)).flags] == ["stop", "look"]


def test_put_right_elsewhere_does_not_count() -> None:
    notes = Notes(
        readings=(
            reading("torque, nut, 35, N.m", role="as_found", position="rear"),
            reading("torque, nut, 25, N.m", role="as_left", position="front"),
        )
    )
    assert [flag.level for flag in check(notes, sheet(NUT)).flags] == ["look"]


def test_unsure_and_mismatch_are_to_look_at_no_band_is_not() -> None:
    notes = Notes(
        readings=(
            reading("torque, nut, 25, -"),
            reading("torque, nut, 25, mm"),
            reading("torque, stud, 25, N.m"),
            reading("torque, nut, 25, N.m"),
        )
    )
    assert [flag.level for flag in check(notes, sheet(NUT)).flags] == ["look", "look"]


def test_most_serious_flag_first_and_caution_with_it() -> None:
    bands = sheet(NUT + '; critical = true; caution = "Do not run it."', "gap, plug, 1, 2, mm")
    notes = Notes(readings=(reading("gap, plug, 5, mm"), reading("torque, nut, 35, N.m")))
    checked = check(notes, bands)
    assert [flag.level for flag in checked.flags] == ["stop", "look"]
    assert checked.flags[0].text.endswith("Do not run it.")


# ---- what was not heard --------------------------------------------------------------------------

SIX = sheet(
    "pressure, tyre, 30, 40, psi",
    expects='[[expect]]\nquantity = "pressure"\ncomponent = "tyre"\npositions = ["front left", '
    '"front right", "rear left"]\n[[expect]]\nquantity = "gap"\ncomponent = "plug"\ncount = 2\n',
)


def test_what_was_not_heard() -> None:
    notes = Notes(
        readings=(
            reading("pressure, tyres, 31, psi", position="left front"),
            reading("pressure, tyre, 31, psi"),
            reading("gap, plug, 1, mm", position="1", role="as_found"),
            reading("gap, plug, 1, mm", position="1", role="as_left"),
        )
    )
    found = {flag.about: flag.text for flag in check(notes, SIX).flags}
    assert found == {
        "tyre: pressure": "Not heard for front right, rear left. 1 heard without a position.",
        "plug: gap": "2 expected, 1 heard.",
    }


def test_complete_note_has_no_flag() -> None:
    places = ("front left", "front right", "rear left")
    tyres = tuple(reading("pressure, tyre, 31, psi", position=place) for place in places)
    plugs = tuple(reading("gap, plug, 1, mm", first=place) for place in (5, 9))
    assert check(Notes(readings=tyres + plugs), SIX).flags == ()


# ---- properties ----------------------------------------------------------------------------------

READINGS = st.builds(
    Reading,
    quantity=st.sampled_from(["pressure", "torque", "clearance", "gap", "play"]),
    component=st.sampled_from(["tyre", "nut", "wheel nut", "inlet valve", "valve", NOT_SAID, ""]),
    position=st.sampled_from([None, "front", "rear left", "cylinder two", ""]),
    condition=st.sampled_from([None, "cold", "hot"]),
    value=st.decimals("-1000", "1000", places=2),
    said=st.just("1"),
    unit=st.sampled_from([None, "psi", "N.m", "mm", "thou", "lbf.in"]),
    role=st.sampled_from(["measured", "set", "as_found", "as_left"]),
    first=st.just(0),
    last=st.just(1),
    reason=st.just(""),
    doubt=st.sampled_from([None, None, "why"]),
    alternatives=st.sampled_from([(), ways("mm"), ways("thou", "mm")]),
)
VERDICTS = {"in_band", "low", "high", "no_band", "unsure", "unit_mismatch"}


@settings(max_examples=200, deadline=None)
@given(st.lists(READINGS, max_size=4), st.sampled_from([None, FRONT_REAR, VALVES, MIXED, SIX]))
def test_any_note(readings: list[Reading], bands: BandSheet | None) -> None:
    checked = check(Notes(readings=tuple(readings)), bands)
    assert len(checked.readings) == len(readings)
    for before, after in zip(readings, checked.readings, strict=True):
        assert after.verdict in VERDICTS and after.reason
        assert after.reading.value == before.value and after.reading.said == before.said
        if after.verdict in ("low", "high", "in_band"):
            assert after.band is not None and after.reading.doubt is None
            assert before.unit is not None or before.alternatives
