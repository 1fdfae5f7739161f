"""Limits, pairs and sentences that others have published, run through numbers, units and check.

Sources stand beside each table. They were read in reprints, not in the originals.
"""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

import pytest

from talklog.bands import BandSheet, parse_bands
from talklog.check import check
from talklog.notes import Notes, Reading
from talklog.numbers import Number, find_numbers
from talklog.transcript import Word
from talklog.typed import read_text
from talklog.units import convert, load_units

UNITS = load_units()
Q = "torque"


def sheet(rows: Sequence[tuple[str, str, str, str | None, str | None, str, bool]]) -> BandSheet:
    """(quantity, component, condition or "", low, high, unit, high_open) -> a band sheet."""
    text = '[machine]\nkey = "p"\nname = "Published"\n'
    for quantity, component, condition, low, high, unit, high_open in rows:
        text += f'[[band]]\nquantity = "{quantity}"\ncomponent = "{component}"\nunit = "{unit}"\n'
        text += 'source = "published"\n'
        text += f'condition = "{condition}"\n' if condition else ""
        text += f"low = {low}\n" if low else ""
        text += f"high = {high}\nhigh_open = {str(high_open).lower()}\n" if high else ""
    return parse_bands(text)


def verdict(
    bands: BandSheet, quantity: str, component: str, said: str, condition: str | None = None
) -> tuple[str, str]:
    """Verdict and reason for a spoken or typed value with its unit."""
    (value, unit), *_ = spoken_values(said)
    reading = Reading(
        quantity, component, None, condition, value, str(value), unit, "measured", 0, 1, ""
    )
    checked = check(Notes(readings=(reading,)), bands).readings[0]
    return checked.verdict, checked.reason


# ---- a small matcher of number and unit, enough for unambiguous sentences ------------------------


def spoken_values(text: str) -> list[tuple[Decimal, str]]:
    """(value, unit) of the numbers in a text, each in its most usual reading, first unit that
    serves the longest form right behind it."""
    words = read_text(text.encode()).words
    numbers = [number for run in find_numbers(words) for number in run.readings[0]]
    return [(n.value, units[0]) for n in numbers if (units := units_behind(words, n))]


def units_behind(words: Sequence[Word], number: Number) -> list[str]:
    for length in range(5, 0, -1):
        behind = words[number.last + 1 : number.last + 1 + length]
        form = " ".join(word.text for word in behind)
        written = "".join(word.written or word.text for word in behind)
        named = [u.name for u in UNITS.values() if form in u.spoken or written in u.typed]
        if len(behind) == length and named:
            return named
    return []


# ---- FAA AC 43.13-1B, table 7-1: torque in inch-pounds -------------------------------------------
# Tension nuts, oil-free cadmium-plated threads. A US government paper; two reprints agree.

AC43 = {
    "8-36": (12, 15), "10-32": (20, 25), "1/4-28": (50, 70), "5/16-24": (100, 140),
    "3/8-24": (160, 190), "7/16-20": (450, 500), "1/2-20": (480, 690), "9/16-18": (800, 1000),
    "5/8-18": (1100, 1300), "8-32": (12, 15), "10-24": (20, 25), "1/4-20": (40, 50),
    "5/16-18": (80, 90), "3/8-16": (160, 185), "7/16-14": (235, 255), "1/2-13": (400, 480),
}  # fmt: skip
NUTS = sheet([(Q, f"nut {n}", "", str(a), str(b), "lbf.in", False) for n, (a, b) in AC43.items()])


@pytest.mark.parametrize("nut", AC43)
def test_ac43_limits_are_in_and_just_outside_is_out(nut: str) -> None:
    low, high = AC43[nut]
    said = {f"{low} inch pounds": "in_band", f"{high} inch pounds": "in_band"}
    said |= {f"{low - 1} inch pounds": "low", f"{high + 1} inch pounds": "high"}
    said |= {f"{low - 0.01} in-lb": "low", f"{high + 0.01} in-lb": "high"}
    assert {text: verdict(NUTS, Q, f"nut {nut}", text)[0] for text in said} == said


@pytest.mark.parametrize("nut", AC43)
def test_ac43_limits_hold_in_newton_metres(nut: str) -> None:
    for limit in AC43[nut]:
        metric = convert(Decimal(limit), "lbf.in", "N.m")
        assert verdict(NUTS, Q, f"nut {nut}", f"{metric} Nm")[0] == "in_band"


@pytest.mark.parametrize("nut", AC43)
def test_ac43_foot_pounds_for_inch_pounds_is_found_out(nut: str) -> None:
    """The factor-12 trap: the right number with the wrong unit is out, and the reason says why."""
    low, high = AC43[nut]
    for limit in (low, high):
        found, reason = verdict(NUTS, Q, f"nut {nut}", f"{limit} foot pounds")
        assert found == "high"
        assert "a twelfth of it" in reason and "confirm before use" in reason


@pytest.mark.parametrize(
    ("said", "wanted"),
    [
        ("five foot pounds", "in_band"),  # 60 in-lb
        ("four foot pounds", "low"),  # 48
        ("six foot pounds", "high"),  # 72
        ("fifty inch pounds", "in_band"),
        ("four and a sixth foot pounds", "in_band"),  # 50 and a hair: one sixth said to 6 places
        ("seventy inch pounds", "in_band"),
        ("seventy one inch pounds", "high"),
        ("five point six five newton metres", "in_band"),  # 50.007
        ("five point six four newton metres", "low"),  # 49.92
        ("seven point nine one newton metres", "high"),  # 70.01: rounded up when printed
        ("seven point nine newton metres", "in_band"),
    ],
)
def test_ac43_quarter_inch_fine(said: str, wanted: str) -> None:
    assert verdict(NUTS, Q, "nut 1/4-28", said)[0] == wanted


# ---- 49 CFR 393.47(d), 393.75, 571.116: limits in regulations ------------------------------------

LINING = sheet(
    [
        ("thickness", "steering axle strip lining", "", "4.8", None, "mm", False),
        ("thickness", "steering axle pad lining", "", "6.4", None, "mm", False),
        ("thickness", "air disc lining", "", "3.2", None, "mm", False),
        ("thickness", "hydraulic lining", "", "1.6", None, "mm", False),
        ("thickness", "inch strip lining", "", "0.1875", None, "in", False),
        ("depth", "front tread", "", "0.125", None, "in", False),
        ("depth", "other tread", "", "0.0625", None, "in", False),
        ("temperature", "dot 3 boiling point", "dry", "205", None, "degC", False),
        ("temperature", "dot 3 boiling point", "wet", "140", None, "degC", False),
        ("temperature", "dot 4 boiling point", "dry", "230", None, "degC", False),
        ("temperature", "dot 4 boiling point", "wet", "155", None, "degC", False),
    ]
)
REGULATIONS = [  # component, said, condition, verdict
    ("steering axle strip lining", "four point eight millimetres", None, "in_band"),
    ("steering axle strip lining", "four point seven nine millimetres", None, "low"),
    # 3/16 in is 4.7625 mm: below the metric limit, on the inch limit printed beside it
    ("steering axle strip lining", "three sixteenths of an inch", None, "low"),
    ("inch strip lining", "three sixteenths of an inch", None, "in_band"),
    ("inch strip lining", "four point eight millimetres", None, "in_band"),
    ("steering axle pad lining", "six point four millimetres", None, "in_band"),
    ("steering axle pad lining", "quarter inch", None, "low"),
    ("air disc lining", "three point two millimetres", None, "in_band"),
    ("air disc lining", "an eighth of an inch", None, "low"),
    ("air disc lining", "three point one nine millimetres", None, "low"),
    ("hydraulic lining", "one point six millimetres", None, "in_band"),
    ("hydraulic lining", "a sixteenth of an inch", None, "low"),
    ("hydraulic lining", "one point five nine millimetres", None, "low"),
    # 4/32 and 2/32 in, spoken as thirty-seconds
    ("front tread", "four thirty seconds of an inch", None, "in_band"),
    ("front tread", "three thirty seconds of an inch", None, "low"),
    ("front tread", "three point one seven five millimetres", None, "in_band"),
    ("front tread", "three point one seven four millimetres", None, "low"),
    ("other tread", "two thirty seconds of an inch", None, "in_band"),
    ("other tread", "one point five eight seven five millimetres", None, "in_band"),
    ("other tread", "one point five millimetres", None, "low"),
    ("dot 3 boiling point", "two hundred and five degrees c", "dry", "in_band"),
    ("dot 3 boiling point", "two hundred and four degrees c", "dry", "low"),
    ("dot 3 boiling point", "four hundred and one degrees fahrenheit", "dry", "in_band"),
    ("dot 3 boiling point", "four hundred degrees fahrenheit", "dry", "low"),
    ("dot 3 boiling point", "one hundred and forty degrees celsius", "wet", "in_band"),
    ("dot 3 boiling point", "two hundred and eighty three degrees f", "wet", "low"),
    ("dot 4 boiling point", "four hundred and forty six degrees f", "dry", "in_band"),
    ("dot 4 boiling point", "two hundred and twenty nine degrees c", "dry", "low"),
    ("dot 4 boiling point", "three hundred and eleven degrees f", "wet", "in_band"),
    ("dot 4 boiling point", "one hundred and fifty four degrees c", "wet", "low"),
]


@pytest.mark.parametrize(("component", "said", "condition", "wanted"), REGULATIONS)
def test_regulation_limit(component: str, said: str, condition: str | None, wanted: str) -> None:
    quantity = next(b.quantity for b in LINING.bands if b.component == component)
    assert verdict(LINING, quantity, component, said, condition)[0] == wanted


# ---- SAE J300 (2015, as reprinted): viscosity at 100 C in cSt, half-open classes -----------------

J300 = {"16": ("6.1", "8.2"), "20": ("6.9", "9.3"), "30": ("9.3", "12.5"), "40": ("12.5", "16.3"),
        "50": ("16.3", "21.9"), "60": ("21.9", "26.1")}  # fmt: skip
OILS = sheet(
    [("viscosity", f"oil {k}", "", low, high, "cSt", True) for k, (low, high) in J300.items()]
)


def grades(value: str) -> set[str]:
    return {k for k in J300 if verdict(OILS, "viscosity", f"oil {k}", value)[0] == "in_band"}


@pytest.mark.parametrize(
    ("value", "wanted"),
    [
        ("12.5 cSt", {"40"}),
        ("12.49 cSt", {"30"}),
        ("16.3 cSt", {"50"}),
        ("9.3 centistokes", {"30"}),
        ("nine point two centistokes", {"20"}),
        ("21.9 cSt", {"60"}),
        ("26.1 cSt", set()),
        ("6.9 cSt", {"16", "20"}),
        ("6.1 cSt", {"16"}),
        ("6.0 cSt", set()),
    ],
)
def test_oil_grades_are_half_open(value: str, wanted: set[str]) -> None:
    assert grades(value) == wanted


# ---- pairs printed by one author in two units ----------------------------------------------------
# Each number was rounded by its author: they must agree within half a unit of each last digit.

PAIRS = [
    ("25", "N.m", "18", "lbf.ft"),  # a maker's manual page
    ("1035", "kPa", "150", "psi"),  # a maker's manual, 2006: rounded to 5 kPa
    ("690", "kPa", "100", "psi"),  # one manual
    ("689", "kPa", "100", "psi"),  # another: the same limit rounded otherwise
    ("205", "degC", "401", "degF"), ("140", "degC", "284", "degF"),  # 49 CFR 571.116 S5.1.1
    ("230", "degC", "446", "degF"), ("155", "degC", "311", "degF"),  # 49 CFR 571.116 S5.1.2
    ("4.8", "mm", "0.1875", "in"), ("6.4", "mm", "0.25", "in"),  # 49 CFR 393.47(d)
    ("3.2", "mm", "0.125", "in"), ("1.6", "mm", "0.0625", "in"),  # 49 CFR 393.47(d)
]  # fmt: skip


@pytest.mark.parametrize(("left", "unit", "right", "other"), PAIRS)
def test_printed_pair(left: str, unit: str, right: str, other: str) -> None:
    low, high = (convert(end, other, unit) for end in around(right))
    lowest, highest = around(left)
    assert low <= highest and high >= lowest


def around(printed: str) -> tuple[Decimal, Decimal]:
    """The values that round to what is printed; 1035 is rounded to 5."""
    last = Decimal(5) if printed == "1035" else Decimal((0, (1,), exponent_of(printed)))
    return Decimal(printed) - last / 2, Decimal(printed) + last / 2


def exponent_of(printed: str) -> int:
    return int(Decimal(printed).as_tuple().exponent)


def test_percentage_is_taken_before_rounding() -> None:
    """The same manual prints 70 % of 1035 kPa as 725 kPa and of 150 psi as 105 psi: converting one
    does not give the other's last digit, so a limit is compared in the unit it is printed in."""
    assert abs(convert(Decimal(105), "psi", "kPa") - 725) > Decimal("0.5")


# ---- sentences shipped with quantulum3 -----------------------------------------------------------
# PyPI quantulum3 (MIT), file _lang/en_US/tests/quantities.json: 101 labelled sentences. Relevant
# are those in which every quantity is a plain number or in a unit of the workshop (the table
# below), less a few that are named with the reason. Values and units are compared. A label such as
# "12 +- 4" is their way to write the range 8 to 16.

THEIRS = {
    "metre": {"m"}, "kilometre": {"km"}, "mile": {"mi"}, "inch": {"in"}, "litre": {"l"},
    "gallon": {"gal", "gal_us"}, "kilogram": {"kg"}, "pound-mass": {"lb"}, "hour": {"h"},
    "day": {"d"}, "week": {"wk"}, "percentage": {"percent"}, "degree Celsius": {"degC"},
    "degree fahrenheit": {"degF"}, "kilometre per hour": {"km/h"}, "dimensionless": set(),
}  # fmt: skip
NOT_OURS = {  # words of a sentence: why it is no fair case for talklog
    "non-standard object": "catalogue numbers",
    "8- to 16-meter": "a hanging hyphen joins the numbers",
    "6.0-sigma": "science notation",
    "absolute zero": "a value without a number",
    "32 Ltd": "the name of a firm",
    "I want a gallon": "to talklog 'a gallon' has no number in it",
    "1960s": "a decade",
    "0.5k": "k for a thousand, glued to the number",
    "-78-0": "a falling range written with two hyphens",
}


def quantulum_cases() -> list[tuple[str, list[dict[str, object]]]]:
    spec = importlib.util.find_spec("quantulum3")
    if spec is None or not spec.submodule_search_locations:
        return []
    path = Path(spec.submodule_search_locations[0]) / "_lang/en_US/tests/quantities.json"
    cases = json.loads(path.read_text("utf-8"))
    return [
        (case["req"], case["res"])
        for case in cases
        if case["res"]
        and all(quantity["unit"] in THEIRS for quantity in case["res"])
        and not any(words in case["req"] for words in NOT_OURS)
    ]


CASES = quantulum_cases()


def ends(quantity: dict[str, object]) -> list[float]:
    value, spread = float(str(quantity["value"])), quantity.get("uncertainty")
    return [value - float(str(spread)), value + float(str(spread))] if spread else [value]


def test_there_are_enough_quantulum_sentences() -> None:
    assert len(CASES) >= 25


@pytest.mark.parametrize(("text", "labels"), CASES, ids=[text[:40] for text, _ in CASES])
def test_quantulum_sentence(text: str, labels: list[dict[str, object]]) -> None:
    words = read_text(text.encode()).words
    numbers = [n for run in find_numbers(words) for n in run.readings[0]]
    for label in labels:
        wanted = THEIRS[str(label["unit"])]
        for value in ends(label):
            same = [n for n in numbers if value in shown(n)]
            assert same, f"{label['surface']}: {value} not found"
            assert not wanted or any(wanted & set(units_behind(words, n)) for n in same)


def shown(number: Number) -> list[float]:
    """Its value, and its high end, as approximate numbers."""
    return [pytest.approx(float(v), abs=1e-6) for v in (number.value, number.high) if v is not None]


# Other readers make of these: 5 mm, foot pound mass, kilogram ohm, a bare 12, degree coulomb,
# nanometres (run with quantulum3 0.10.0 and recognizers-text 1.0.2a2, not in this test).
MUST_NOT = [
    ("nought point two five millimetres", (Decimal("0.25"), "mm")),
    ("25 foot pounds", (Decimal(25), "lbf.ft")),
    ("1.4 kilo ohms", (Decimal("1.4"), "kohm")),
    ("12 amps", (Decimal(12), "A")),
    ("90 degrees C", (Decimal(90), "degC")),
    ("85 Nm", (Decimal(85), "N.m")),
    ("32 psi", (Decimal(32), "psi")),
]


@pytest.mark.parametrize(("text", "wanted"), MUST_NOT)
def test_what_other_readers_get_wrong(text: str, wanted: tuple[Decimal, str]) -> None:
    assert spoken_values(text) == [wanted]


def test_oil_grade_and_range_are_not_made_into_one_value() -> None:
    assert spoken_values("5w30") == []
    (run,) = find_numbers(read_text(b"10 to 12 mm").words)
    assert (run.readings[0][0].value, run.readings[0][0].high) == (10, 12)
