"""Units of measure: conversion and kinship. The only module that imports pint.

All units stand in ``data/units.toml``; there are no prefixes, so no slip of the ear can become a
unit. Values are Decimals and stay exact where the definitions are. pint never sees spoken text.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation, localcontext
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from talklog.errors import DataFileError, UnitError

if TYPE_CHECKING:
    from pint import UnitRegistry

_PRECISION = 28  # digits carried in a conversion
_SHOWN = 15  # digits kept of the result: far beyond any gauge, short of rounding noise


@dataclass(frozen=True, slots=True)
class Unit:
    """One entry of ``units.toml``; its head comment explains the fields."""

    name: str
    ucum: str
    definition: str
    si: str
    quantities: tuple[str, ...]
    spoken: tuple[str, ...]
    typed: tuple[str, ...]
    note: str = ""


_WEIGHT = ("kg", "kgf")  # a mass, and the force of its weight


@lru_cache(maxsize=1)
def load_units() -> dict[str, Unit]:
    """Every unit by its trade name, in file order. Raises DataFileError for a broken file."""
    text = (files("talklog") / "data" / "units.toml").read_text("utf-8")
    return parse_units(text)


def parse_units(text: str, *, where: str = "units.toml") -> dict[str, Unit]:
    """Units of a TOML text. Raises DataFileError naming the first entry that breaks a rule."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DataFileError(f"{where}: not valid TOML: {error}") from error
    entries = data.get("unit", [])
    if set(data) != {"unit"} or not isinstance(entries, list):
        raise DataFileError(f"{where}: only [[unit]] tables are allowed; found {', '.join(data)}.")
    units: dict[str, Unit] = {}
    for number, entry in enumerate(entries, start=1):
        unit = _unit(entry, f"{where}, unit {number}")
        if unit.name in units:
            raise DataFileError(f"{where}, unit {number}: {unit.name} is defined twice.")
        units[unit.name] = unit
    for unit in units.values():
        if unit.si not in units:
            raise DataFileError(
                f"{where}: {unit.name} has si = {unit.si!r}, which is no unit here."
            )
    return units


_TEXTS = ("name", "ucum", "definition", "si")
_LISTS = ("quantities", "spoken", "typed")


def _unit(entry: dict[str, Any], where: str) -> Unit:
    if not isinstance(entry, dict):
        raise DataFileError(f"{where}: must be a [[unit]] table.")
    unknown = set(entry) - {*_TEXTS, *_LISTS, "note"}
    missing = {*_TEXTS, *_LISTS} - set(entry)
    if unknown or missing:
        raise DataFileError(
            f"{where}: unknown {sorted(unknown)}, missing {sorted(missing)}; "
            f"allowed are {', '.join((*_TEXTS, *_LISTS, 'note'))}."
        )
    for key in (*_TEXTS, "note"):
        if not isinstance(entry.get(key, ""), str):
            raise DataFileError(f"{where}: {key} must be text.")
    for key in _LISTS:
        texts = entry[key]
        if not isinstance(texts, list) or not all(isinstance(item, str) for item in texts):
            raise DataFileError(f"{where}: {key} must be a list of texts.")
    return Unit(**{key: tuple(v) if isinstance(v, list) else v for key, v in entry.items()})


def unit_named(name: str) -> Unit:
    """The unit of that trade name. Raises UnitError for any other text."""
    try:
        return load_units()[name]
    except KeyError:
        raise UnitError(
            f"{name!r} is no unit that talklog knows; known are {', '.join(load_units())}."
        ) from None


def convert(value: Decimal, unit: str, to: str) -> Decimal:
    """``value`` in ``unit`` as a number of ``to``, good to 15 significant digits.

    Temperatures are levels: 180 degF is 82.2222222222222 degC. Raises UnitError when the units are
    unknown or measure different things (a torque never becomes an energy).
    """
    if unit == to and value.is_finite():
        unit_named(unit)
        return value
    return _convert(value, _pint_name(unit), _pint_name(to), f"{unit} to {to}")


def weighed(value: Decimal, unit: str, to: str) -> Decimal:
    """Like ``convert``, but a mass is also the force of its weight, and the other way: 2 kgf is
    2000 g. For what hangs on a spring balance; standard gravity, 9.80665 m/s2."""
    for own, other in (_WEIGHT, _WEIGHT[::-1]):
        if same_kind(unit, own) and same_kind(to, other):
            return convert(convert(value, unit, own), other, to)
    return convert(value, unit, to)


def can_be_weighed(unit: str, to: str) -> bool:
    """Whether one of two units is of a mass and the other of a force."""
    kinds = [[same_kind(name, own) for own in _WEIGHT] for name in (unit, to)]
    return any(kinds[0]) and any(kinds[1]) and kinds[0] != kinds[1]


def convert_difference(value: Decimal, unit: str, to: str) -> Decimal:
    """Like ``convert`` for a difference: 10 degF hotter is 5.55555555555556 degC hotter."""
    names = [_pint_name(name) for name in (unit, to)]
    deltas = [f"delta_{n}" if n in ("degC", "degF") else n for n in names]
    return _convert(value, deltas[0], deltas[1], f"{unit} to {to} (difference)")


def si_of(value: Decimal, unit: str) -> tuple[Decimal, str]:
    """(value, unit) in the SI unit that records show beside it: 8 thou is (0.2032, "mm")."""
    to = unit_named(unit).si
    return convert(value, unit, to), to


def same_kind(unit_a: str, unit_b: str) -> bool:
    """Can one be converted to the other? thou and mm can, lbf.ft and J, mm and N.m cannot."""
    registry = _registry()
    dims = [registry.Unit(_pint_name(name)).dimensionality for name in (unit_a, unit_b)]
    return dims[0] == dims[1]


def quantity_names() -> tuple[str, ...]:
    """Every quantity that some unit can measure, and "count", which needs no unit."""
    found = [quantity for unit in load_units().values() for quantity in unit.quantities]
    return (*dict.fromkeys(found), "count")


def _convert(value: Decimal, unit: str, to: str, what: str) -> Decimal:
    import pint

    if not value.is_finite():
        raise UnitError(f"{value} {what}: not a number that can be converted.")
    try:
        with localcontext(prec=_PRECISION):
            result = _registry().Quantity(value, unit).to(to).magnitude
            return _tidy(result)
    except pint.errors.DimensionalityError as error:
        raise UnitError(f"{what}: these units measure different things.") from error
    except (InvalidOperation, OverflowError, pint.errors.PintError) as error:
        raise UnitError(f"{value} {what}: cannot be converted ({error}).") from error


def _tidy(value: Decimal) -> Decimal:
    """15 significant digits, no trailing zeros, no exponent for everyday sizes."""
    with localcontext(prec=_SHOWN):
        short = (+value).normalize()
    return short.quantize(Decimal(1)) if 0 < short.as_tuple().exponent < 12 else short


def _pint_name(name: str) -> str:
    return pint_name(unit_named(name).name)


def pint_name(name: str) -> str:
    """How a trade name is written in definitions: "lbf.ft" is lbf_ft, "in" is in_."""
    return "in_" if name == "in" else re.sub(r"\W", "_", name)


@lru_cache(maxsize=1)
def _registry() -> UnitRegistry[Any]:
    import pint

    lines = [f"{pint_name(unit.name)} = {unit.definition}" for unit in load_units().values()]
    try:
        with localcontext(prec=_PRECISION):
            return pint.UnitRegistry(
                lines, non_int_type=Decimal, autoconvert_offset_to_baseunit=True
            )
    except (pint.errors.PintError, ValueError) as error:
        raise DataFileError(f"units.toml: a definition cannot be used: {error}") from error
