"""Units against independent judges (scipy, pint's own registry, UCUM), and the traps between."""

from __future__ import annotations

from decimal import Decimal

import pint
import pytest
import scipy.constants as sc

from talklog.errors import DataFileError, UnitError
from talklog.units import (
    can_be_weighed,
    convert,
    convert_difference,
    load_units,
    parse_units,
    pint_name,
    quantity_names,
    same_kind,
    si_of,
    unit_named,
    weighed,
)

UNITS = load_units()

# unit, to, exact factor, 7-digit factor printed in NIST SP 811 (2008) Appendix B.8, as given by the
# R package NISTunits 1.0.1 that cites it (None: not in that table), and scipy's value.
LBF, G0, IN, FT = sc.pound_force, sc.g, sc.inch, sc.foot
FACTORS = [
    ("in", "mm", "25.4", "25.4", sc.inch / sc.milli),
    ("thou", "mm", "0.0254", "0.0254", sc.mil / sc.milli),
    ("um", "mm", "0.001", "0.001", sc.micron / sc.milli),
    ("ft", "m", "0.3048", None, sc.foot),
    ("mi", "km", "1.609344", "1.609344", sc.mile / sc.kilo),
    ("lbf.ft", "N.m", "1.3558179483314004", "1.355818", LBF * FT),
    ("lbf.in", "N.m", "0.1129848290276167", "0.1129848", LBF * IN),
    ("ozf.in", "N.m", "0.00706155181422604", "0.007061552", LBF * IN / 16),
    ("kgf.m", "N.m", "9.80665", "9.80665", G0),
    ("kgf.cm", "N.m", "0.0980665", None, G0 / 100),
    ("lbf", "N", "4.4482216152605", "4.448222", LBF),
    ("kgf", "N", "9.80665", "9.80665", sc.kgf),
    ("psi", "kPa", "6.894757293168361", "6.894757", sc.psi / sc.kilo),
    ("bar", "kPa", "100", "100", sc.bar / sc.kilo),
    ("kgf/cm2", "kPa", "98.0665", "98.0665", G0 * 10),
    ("atm", "kPa", "101.325", "101.325", sc.atm / sc.kilo),
    ("inHg", "kPa", "3.386389", "3.386389", None),  # conventional; scipy has none
    ("mmHg", "kPa", "0.1333224", "0.1333224", None),
    ("cmHg", "kPa", "1.333224", "1.333224", None),
    ("inH2O", "Pa", "249.0889", "249.0889", None),
    ("mmH2O", "Pa", "9.80665", "9.80665", None),
    ("kn", "km/h", "1.852", "1.852", sc.knot / sc.kmh),
    ("ft3/min", "l/min", "28.316846592", "28.31685", sc.foot**3 * 1000),
    ("m3/h", "l/min", str(1000 / 60), None, None),
    ("gal_us", "l", "3.785411784", "3.785412", sc.gallon / sc.liter),
    ("qt_us", "l", "0.946352946", "0.9463529", sc.gallon / 4 / sc.liter),
    ("pt_us", "l", "0.473176473", "0.4731765", sc.gallon / 8 / sc.liter),
    ("floz_us", "ml", "29.5735295625", "29.57353", sc.fluid_ounce * 1e6),
    ("gal", "l", "4.54609", "4.54609", sc.gallon_imp / sc.liter),
    ("qt", "l", "1.1365225", None, sc.gallon_imp / 4 / sc.liter),
    ("pt", "l", "0.56826125", None, sc.gallon_imp / 8 / sc.liter),
    ("floz", "ml", "28.4130625", "28.41306", sc.fluid_ounce_imp * 1e6),
    ("hp", "kW", "0.7456998715822702", "0.7456999", sc.hp / sc.kilo),
    ("PS", "kW", "0.73549875", "0.7354988", 75 * G0 / sc.kilo),
    ("A.h", "C", "3600", "3600", sc.hour),
    ("deg", "rad", "0.017453292519943295", None, sc.degree),
    ("arcmin", "deg", "0.0166666666666666667", None, sc.arcmin / sc.degree),  # BIPM, table 8
    ("cSt", "mm2/s", "1", "1", None),
    ("cP", "mPa.s", "1", "1", None),
    ("mph", "km/h", "1.609344", "1.609344", sc.mph / sc.kmh),
    ("lb", "kg", "0.45359237", None, sc.pound),
    ("oz", "g", "28.349523125", "28.34952", sc.oz / sc.gram),
    ("in3", "ml", "16.387064", "16.38706", sc.inch**3 * 1e6),
    ("rpm", "r/s", str(1 / 60), None, 1 / sc.minute),
]
IDS = [row[0] for row in FACTORS]


@pytest.mark.parametrize(("unit", "to", "exact", "printed", "scipy_value"), FACTORS, ids=IDS)
def test_factor(
    unit: str, to: str, exact: str, printed: str | None, scipy_value: float | None
) -> None:
    found = convert(Decimal(1), unit, to)
    assert float(found) == pytest.approx(float(exact), rel=1e-14)
    if printed is not None:
        assert float(found) == pytest.approx(float(printed), rel=1e-6)
    if scipy_value is not None:
        assert float(found) == pytest.approx(scipy_value, rel=1e-12)


# How pint's own registry names the units that both have; those it means otherwise are traps below.
PINT = {
    "in": "inch", "thou": "thou", "um": "micrometer", "ft": "foot", "mi": "mile", "lbf": "lbf",
    "lbf.ft": "foot_pound", "kgf": "kgf", "psi": "psi", "bar": "bar", "atm": "atm",
    "kgf/cm2": "kgf/cm**2", "inHg": "inHg", "mmHg": "mmHg", "gal_us": "gallon", "gal":
    "imperial_gallon", "qt": "imperial_quart", "pt": "imperial_pint", "floz":
    "imperial_fluid_ounce", "hp": "horsepower", "PS": "metric_horsepower", "A.h": "ampere_hour",
    "deg": "degree", "mph": "mph", "lb": "pound", "oz": "ounce", "in3": "inch**3", "cSt":
    "centistokes", "cP": "centipoise", "qt_us": "quart", "pt_us": "pint", "floz_us": "fluid_ounce",
}  # fmt: skip


@pytest.fixture(scope="module")
def default_pint() -> pint.UnitRegistry:
    return pint.UnitRegistry()


@pytest.mark.parametrize("unit", PINT)
def test_factor_against_pints_own_registry(unit: str, default_pint: pint.UnitRegistry) -> None:
    row = FACTORS[IDS.index(unit)]
    target = {"N.m": "newton*meter", "l": "liter", "mm2/s": "mm**2/s", "mPa.s": "mPa*s"}
    theirs = default_pint.Quantity(1, PINT[unit]).to(target.get(row[1], row[1])).magnitude
    assert float(convert(Decimal(1), unit, row[1])) == pytest.approx(theirs, rel=1e-6)


WORKED = [  # computed from the exact factors
    ("25", "lbf.ft", "33.895", "N.m"), ("80", "lbf.ft", "108.465", "N.m"),
    ("100", "lbf.ft", "135.582", "N.m"), ("30", "psi", "206.843", "kPa"),
    ("2.2", "bar", "31.908", "psi"), ("1", "kgf/cm2", "14.2233", "psi"),
    ("8", "thou", "0.2032", "mm"), ("180", "degF", "82.222", "degC"),
    ("195", "degF", "90.556", "degC"), ("-40", "degF", "-40", "degC"),
    ("29.92", "inHg", "101.321", "kPa"), ("3000", "rpm", "50", "r/s"), ("60", "A.h", "216000", "C"),
    ("0.3125", "in", "7.9375", "mm"), ("0.375", "in", "9.525", "mm"),
    ("0.21875", "in", "5.55625", "mm"), ("0.5", "turns", "180", "deg"),
    ("0.25", "turns", "90", "deg"), ("1", "flats", "60", "deg"), ("2", "thou/in", "2", "mm/m"),
    ("2", "Gohm", "2000", "Mohm"), ("90", "mm/min", "1.5", "mm/s"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "unit", "wanted", "to"), WORKED)
def test_worked_pair(value: str, unit: str, wanted: str, to: str) -> None:
    found = convert(Decimal(value), unit, to)
    places = Decimal(wanted).as_tuple().exponent
    assert found.quantize(Decimal(1).scaleb(int(places))) == Decimal(wanted)


def test_exact_where_definitions_are() -> None:
    assert convert(Decimal("8"), "thou", "mm") == Decimal("0.2032")
    assert convert(Decimal("0.254"), "mm", "in") == Decimal("0.01")
    assert convert(Decimal("0.1"), "bar", "kPa") == 10
    assert si_of(Decimal("12.50"), "mm") == (Decimal("12.50"), "mm")


# ---- the traps: what other libraries make of these units -----------------------------------------


def test_trap_inch_of_mercury_is_the_conventional_one() -> None:
    """UCUM libraries give 3.376849 (60 F) or 3.3863788; NIST's conventional one is 3.386389 kPa."""
    assert convert(Decimal(1), "inHg", "kPa") == Decimal("3.386389")


def test_trap_inch_of_water_is_the_conventional_one() -> None:
    """The 60 F inch is 248.8401 Pa; NIST's conventional one 249.0889 Pa."""
    assert convert(Decimal(1), "inH2O", "Pa") == Decimal("249.0889")


def test_trap_pints_bare_gallon_is_american(default_pint: pint.UnitRegistry) -> None:
    bare = default_pint.Quantity(1, "gallon").to("liter").magnitude
    assert bare == pytest.approx(float(convert(Decimal(1), "gal_us", "l")))
    assert float(convert(Decimal(1), "gal", "gal_us")) == pytest.approx(1.200950, rel=1e-6)
    assert float(convert(Decimal(1), "pt_us", "pt")) == pytest.approx(0.8327, rel=1e-4)


def test_trap_revs_are_no_hertz(default_pint: pint.UnitRegistry) -> None:
    """pint turns 3000 rpm into 314 Hz (radians); engines do 50 turns a second."""
    theirs = default_pint.Quantity(3000, "rpm").to("radian/second").magnitude
    assert theirs == pytest.approx(314.159, rel=1e-5)
    assert convert(Decimal(3000), "rpm", "r/s") == 50
    assert not same_kind("rpm", "Hz")
    with pytest.raises(UnitError, match="measure different things"):
        convert(Decimal(3000), "rpm", "Hz")


def test_trap_metric_horsepower_is_another() -> None:
    ratio = convert(Decimal(1), "hp", "kW") / convert(Decimal(1), "PS", "kW")
    assert float(ratio) == pytest.approx(1.0139, rel=1e-4)


def test_trap_mil_is_two_units() -> None:
    """In SP 811, UCUM and pint a mil is a thou; a British fitter means a millimetre (common
    practice, no source). Both must be offered, and no unit is named so."""
    named = {unit.name for unit in UNITS.values() if "mil" in unit.spoken}
    assert {"mm", "thou"} <= named
    assert "mil" not in UNITS


def test_trap_temperature_difference_has_no_offset() -> None:
    """ "down ten degrees F" is 5.56 K, never -12.2 C."""
    assert float(convert_difference(Decimal(10), "degF", "degC")) == pytest.approx(5 / 9 * 10)
    assert float(convert(Decimal(10), "degF", "degC")) == pytest.approx(-12.2222, rel=1e-5)
    assert convert_difference(Decimal(10), "degC", "kelvin") == 10


def test_trap_rounded_factors_are_not_used() -> None:
    """A gallon of 3.78541178913 l is off by 1e-8: ours is exact."""
    assert convert(Decimal(1), "gal_us", "l") == Decimal("3.785411784")


# ---- what must never convert ---------------------------------------------------------------------

KINDS = [
    ("N.m", "mm"), ("lbf", "lb"), ("kgf", "kg"), ("lbf.ft", "psi"), ("mm", "mm/m"), ("Hz", "rpm"),
    ("percent", "mm/m"), ("percent", "turns"), ("V", "A"), ("deg", "degC"), ("kW", "N.m"),
    ("ml", "mm"), ("l", "l/min"), ("s", "Hz"), ("A", "A.h"), ("kVA", "kW"),
    ("kVA", "kV"), ("uF", "A.h"),
]  # fmt: skip


@pytest.mark.parametrize(("one", "other"), KINDS)
def test_kinds_stay_apart(one: str, other: str) -> None:
    assert not same_kind(one, other)
    with pytest.raises(UnitError, match="measure different things"):
        convert(Decimal(1), one, other)


def test_torque_never_becomes_energy() -> None:
    """110 N.m in watt seconds: pint's own registry says 110, here it is refused."""
    from talklog.units import _registry

    with pytest.raises(pint.DimensionalityError):
        _registry().Quantity(Decimal(110), "N_m").to("W * s")
    assert same_kind("N.m", "lbf.in")


SLIPS = ["amps", "pinch", "pin", "mil", "Nm", "ft lb", "kin", "PSI", "kmm", "millivolt", "", "N m"]


@pytest.mark.parametrize("word", SLIPS)
def test_spoken_words_and_slips_are_no_unit_names(word: str) -> None:
    """pint's own registry reads "amps" as attometres per second and "pinch" as a picoinch."""
    with pytest.raises(UnitError, match="is no unit that talklog knows"):
        convert(Decimal(1), word, "mm")


def test_no_prefix_makes_new_units() -> None:
    from talklog.units import _registry

    for word in ("kin", "mpsi", "kthou", "amps", "pinch", "mil"):
        with pytest.raises(pint.UndefinedUnitError):
            _registry().Unit(word)


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-Infinity"])
def test_no_number_no_conversion(value: str) -> None:
    for to in ("in", "mm"):
        with pytest.raises(UnitError):
            convert(Decimal(value), "mm", to)


# ---- the file ------------------------------------------------------------------------------------

CONTRACT = (
    "thou in ft mm um m km mi N.m lbf.ft lbf.in kgf.m N lbf kgf psi bar kPa inHg V mV A mA ohm "
    "kohm Mohm rpm degC degF deg l ml cc pt gal floz l/min g kg lb oz s min h Hz percent turns "
    "kW hp"
)
QUANTITIES = (
    "clearance gap play backlash runout depth height length width thickness diameter taper "
    "flatness squareness toe sag deflection elongation torque tension load pressure compression "
    "vacuum voltage current resistance frequency temperature speed flow volume level "
    "concentration mass angle time distance percentage turns count"
)


def test_every_name_of_the_record_is_there() -> None:
    assert set(CONTRACT.split()) <= set(UNITS)
    assert set(QUANTITIES.split()) <= set(quantity_names())


@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_has_an_si_value(unit: str) -> None:
    value, name = si_of(Decimal(1), unit)
    assert value != 0 or unit == "degF"
    assert UNITS[name].si == name
    assert same_kind(unit, name)


def test_units_that_share_a_quantity_and_a_spoken_form_are_few_and_known() -> None:
    """A form may mean two units of one quantity only where people really do so."""
    shared = set()
    for one in UNITS.values():
        for other in UNITS.values():
            forms = set(one.spoken) & set(other.spoken)
            if one.name < other.name and forms and set(one.quantities) & set(other.quantities):
                shared |= forms
    assert shared <= {
        "mil", "mils", "degree", "degrees", "gallon", "gallons", "quart", "quarts", "pint", "pints",
        "fluid ounce", "fluid ounces", "fl oz", "ounce", "ounces", "kilo", "kilos", "g p m",
        "gallon per minute", "gallons per minute", "gallon a minute", "gallons a minute",
        "inch", "inches",
    }  # fmt: skip


def test_spoken_forms_are_words_as_a_recogniser_writes_them() -> None:
    for unit in UNITS.values():
        for form in unit.spoken:
            assert form == " ".join(form.lower().split()), (unit.name, form)
            assert form.replace(" ", "").isalpha(), (unit.name, form)


def test_pint_names_are_distinct() -> None:
    assert len({pint_name(name) for name in UNITS}) == len(UNITS)


GOOD = """
[[unit]]
name = "mm"
ucum = "mm"
definition = "[length]"
si = "mm"
quantities = ["gap"]
spoken = ["mil"]
typed = ["mm"]
"""

BROKEN = [
    (GOOD + "colour = 1", "unknown"),
    (GOOD.replace('ucum = "mm"\n', ""), "missing"),
    (GOOD + GOOD, "defined twice"),
    (GOOD.replace('si = "mm"', 'si = "m"'), "no unit here"),
    (GOOD.replace('spoken = ["mil"]', "spoken = [3]"), "list of texts"),
    (GOOD.replace('spoken = ["mil"]', 'spoken = "mil"'), "list of texts"),
    (GOOD.replace('name = "mm"', "name = 3"), "must be text"),
    ("[units]", "only"),
    ("unit = 3", "only"),
    ("unit = [3]", "must be a"),
    ("nonsense", "not valid TOML"),
]


@pytest.mark.parametrize(("text", "said"), BROKEN, ids=[said for _, said in BROKEN])
def test_broken_file_is_refused(text: str, said: str) -> None:
    with pytest.raises(DataFileError, match=said):
        parse_units(text)


def test_good_file_is_read() -> None:
    assert parse_units(GOOD)["mm"].spoken == ("mil",)


# ---- UCUM ----------------------------------------------------------------------------------------
# Judge: ucumvert 0.3, with UCUM essence 2.2 inside (MIT; the essence under the UCUM licence).


@pytest.fixture(scope="module")
def ucum() -> object:
    from ucumvert import get_ucum_parser

    return get_ucum_parser()


@pytest.mark.parametrize("unit", UNITS)
def test_ucum_code_parses(unit: str, ucum: object) -> None:
    ucum.parse(unit_named(unit).ucum)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "code", ["rpm", "psi", "thou", "[mil]", "Nm", "[in]", "degC", "[psi", "lbf"]
)
def test_misspelt_ucum_code_is_rejected(code: str, ucum: object) -> None:
    with pytest.raises(Exception):  # noqa: B017 - the parser has several error types
        ucum.parse(code)  # type: ignore[attr-defined]
    assert code not in {unit.ucum for unit in UNITS.values()}


def test_no_code_is_a_bare_annotation_of_rpm() -> None:
    """ "{rpm}" parses in UCUM, but means the plain number 1."""
    assert all("{rpm}" not in unit.ucum for unit in UNITS.values())


# Traps above, no plain factor, and the arc minute, which ucumvert takes for one of time.
UCUM_DIFFERS = {"inHg", "inH2O", "mmHg", "cmHg", "degC", "degF", "arcmin"}
UCUM_COUNTS = {"turns", "flats", "rpm", "r/s", "percent"}  # turns are plain numbers in UCUM


@pytest.fixture(scope="module")
def ucum_registry() -> object:
    from ucumvert import PintUcumRegistry

    return PintUcumRegistry()


@pytest.mark.parametrize("unit", [u for u in UNITS if u not in UCUM_DIFFERS | UCUM_COUNTS])
def test_ucum_code_means_the_same_size(unit: str, ucum_registry: object) -> None:
    read = ucum_registry.from_ucum  # type: ignore[attr-defined]
    si = UNITS[unit].si
    theirs = read(UNITS[unit].ucum).to(read(UNITS[si].ucum)).magnitude
    assert float(convert(Decimal(1), unit, si)) == pytest.approx(float(theirs), rel=1e-9)


@pytest.mark.parametrize(
    ("value", "unit", "to", "wanted"),
    [
        ("2", "kgf", "g", "2000"),
        ("10", "kg", "N", "98.0665"),
        ("3", "lb", "lbf", "3"),
        ("3", "lbf", "lb", "3"),
        ("5", "kgf", "N", "49.03325"),  # as by convert
    ],
)
def test_weights(value: str, unit: str, to: str, wanted: str) -> None:
    """By standard gravity, as scipy has it in ``sc.g``."""
    assert sc.g == 9.80665
    assert weighed(Decimal(value), unit, to) == pytest.approx(Decimal(wanted), rel=Decimal("1e-12"))
    assert can_be_weighed(unit, to) == ((unit, to) != ("kgf", "N"))


def test_only_masses_and_forces_are_weights() -> None:
    assert not can_be_weighed("kg", "mm")
    with pytest.raises(UnitError):
        weighed(Decimal(1), "kg", "N.m")
