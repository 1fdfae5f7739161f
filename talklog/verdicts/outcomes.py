"""A value and one band -> on which side of its limits the value lies, with the sentence for it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from talklog.bands import Band
from talklog.units import can_be_weighed, same_kind, weighed
from talklog.verdicts.kinds import OUT

TOLERANCE = Decimal("1e-9")  # relative; so that 0.254 mm is exactly 0.010 inch
WEIGHED = ("load", "tension")  # quantities that people give in units of mass
# Factors by which a value is most often misheard, for which quantity ("" is any), how to say it.
_NEIGHBOURS = (
    ("torque", Decimal(12), "12 times as much (foot-pounds for inch-pounds?)"),
    ("torque", Decimal(1) / 12, "a twelfth of it (inch-pounds for foot-pounds?)"),
    ("", Decimal(10), "10 times as much"),
    ("", Decimal("0.1"), "a tenth of it"),
)


@dataclass(frozen=True, slots=True)
class Outcome:
    """in_band, low, high, unsure or unit_mismatch, and the sentence that says so."""

    verdict: str
    text: str


def outcome_of(value: Decimal, unit: str | None, band: Band) -> Outcome:
    """The verdict on a value by one band. 0.4 mm, 0.20 to 0.30 mm -> high."""
    shown = f"{value:f} {unit}" if unit else f"{value:f}"
    if unit is None and band.unit is not None:
        bare = outcome_of(value, band.unit, band)
        return Outcome("unsure", f"No unit was said; if {band.unit} is meant: {bare.text}")
    if unit is not None and not comparable(unit, band):
        wanted = band.unit or "a plain count"
        text = f"{shown} cannot be compared with a band in {wanted} ({band.source})."
        return Outcome("unit_mismatch", text)
    inside = weighed(value, unit, band.unit) if unit and band.unit else value
    verdict = _side(inside, band)
    equals = "" if unit == band.unit else f" = {_short(inside)} {band.unit}"
    words = {"in_band": "is within", "low": "is below", "high": "is above"}[verdict]
    text = f"{shown}{equals} {words} {limits_of(band)} ({band.source})."
    return Outcome(verdict, f"{text}{_neighbour(inside, band, verdict)}")


def _side(value: Decimal, band: Band) -> str:
    """in_band, low or high; limits belong to the band, up to a relative hair."""
    if band.low is not None and value < band.low - abs(band.low) * TOLERANCE:
        return "low"
    if band.high is None:
        return "in_band"
    hair = abs(band.high) * TOLERANCE
    if band.high_open:
        return "high" if value >= band.high - hair else "in_band"
    return "high" if value > band.high + hair else "in_band"


def _neighbour(value: Decimal, band: Band, verdict: str) -> str:
    """A hint when the value would fit but for a factor that is easily misheard. A band with one
    limit gives none: ten times as much is always "at least" enough."""
    if verdict not in OUT or not value or None in (band.low, band.high):
        return ""
    fits = [
        text
        for quantity, factor, text in _NEIGHBOURS
        if quantity in ("", band.quantity) and _side(value * factor, band) == "in_band"
    ]
    return f" But {' or '.join(fits)} would be in band: confirm before use." if fits else ""


def _short(value: Decimal) -> str:
    """At most 6 significant digits, for reading."""
    return f"{Decimal(f'{value:.6g}').normalize():f}"


def limits_of(band: Band) -> str:
    """The limits as text: "0.20 to 0.30 mm", "at least 1.6 mm", "9.3 to less than 12.5 cSt"."""
    unit = f" {band.unit}" if band.unit else ""
    high = f"less than {band.high:f}" if band.high_open else f"{band.high or 0:f}"
    if band.low is None:
        return f"{high}{unit}" if band.high_open else f"at most {high}{unit}"
    if band.high is None:
        return f"at least {band.low:f}{unit}"
    return f"{band.low:f} to {high}{unit}"


def comparable(unit: str, band: Band) -> bool:
    """Whether a value in that unit can be compared with the limits of a band; a load or tension
    also by weight."""
    if band.unit is None:
        return False
    weight = band.quantity in WEIGHED and can_be_weighed(unit, band.unit)
    return weight or same_kind(unit, band.unit)
