"""A reading for which no band was found -> the bands that it may belong to. Gives no verdicts.

A thing is often understood as one that stands beside it, or as one whose name has a word in common
with its own, and what was measured as something else in the same unit. Then no band fits, and
nothing would be said of a value that is out of the right one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal

from talklog.bands import Band, BandSheet, Machine
from talklog.notes import Meant, Reading
from talklog.units import weighed
from talklog.verdicts.meant_bands import how_named
from talklog.verdicts.names import label_words, names_of, same_measurement
from talklog.verdicts.outcomes import comparable
from talklog.vocabulary import load

# Chosen on the notes of dev, check and those not learned from: see models/extractor/README.md.
LEAST = 0.05  # how probable it must be that a reading is of another thing than was understood
FAR = 5  # times: a value farther than this from both limits of a band is of something else
NUMBERED = -1  # the axis of places by number
WHOLE = ("set", "unit", "machine")  # words that are part of the name of any machine


def mistaken_for(reading: Reading, bands: Iterable[Band], words: frozenset[str]) -> Iterator[Band]:
    """The bands among ``bands`` that a reading may belong to. ``words``: all that were said.

    "flywheel bearing ... seventeen seconds" -> the band for the time of the flywheel.
    """
    if reading.thing_chance is None:
        return
    measured = {reading.quantity, *(other.quantity for other in reading.may_be)}
    doubtful = 1 - reading.thing_chance >= LEAST
    for band in bands:
        if band.quantity == reading.quantity and how_named(reading, band) == "exactly":
            continue  # for another place or condition, and both were understood
        other = doubtful and _was_named(band, words) and _measures(band, measured)
        if (other or _shares_name(reading, band)) and _fits(reading, band):
            yield band


def _shares_name(reading: Reading, band: Band) -> bool:
    """Whether all words of one name stand in the other, wherever."""
    own = [set(name) for name in names_of(reading.component)]
    of_band = [set(name) for name in names_of(band.component, *band.also)]
    return any(one <= name or name <= one for one in own for name in of_band)


def _was_named(band: Band, words: frozenset[str]) -> bool:
    return any(words.issuperset(name) for name in names_of(band.component, *band.also))


def _measures(band: Band, measured: Iterable[str]) -> bool:
    return any(band.quantity == own or same_measurement(band.quantity, own) for own in measured)


def _fits(reading: Reading, band: Band) -> bool:
    """Whether unit, size, place and condition of a reading are not against a band."""
    if reading.unit is None or not comparable(reading.unit, band):
        return False
    value = abs(weighed(reading.value, reading.unit, band.unit))
    near = any(_is_near(value, abs(limit)) for limit in _limits(band))
    cold, hot = label_words(band.condition), label_words(reading.condition)
    placed = not _are_apart(label_words(band.position), label_words(reading.position))
    return near and placed and not (cold and hot and cold.isdisjoint(hot))


def _are_apart(one: frozenset[str], other: frozenset[str]) -> bool:
    """Whether two places have different words on one axis: front and rear, 1 and 2."""
    return bool(_axes(one - other) & _axes(other - one))


def _axes(words: Iterable[str]) -> set[int]:
    table = load().axes
    return {NUMBERED if word.isdigit() else table[word] for word in words
            if word.isdigit() or word in table}  # fmt: skip


def _limits(band: Band) -> Iterator[Decimal]:
    return (limit for limit in (band.low, band.high) if limit is not None)


def _is_near(value: Decimal, limit: Decimal) -> bool:
    return value <= FAR * limit and limit <= FAR * value


# ---- the machine as a whole ----------------------------------------------------------------------


def of_the_whole(reading: Reading, sheet: BandSheet) -> tuple[Meant, ...]:
    """The one thing of which the sheet limits what was measured, where the whole machine was named:
    "generator set" on the sheet of the "Standby generator"."""
    if not _is_whole_machine(reading.component, sheet.machine):
        return ()
    things = {band.component for band in sheet.bands if band.quantity == reading.quantity}
    only = things if len(things) == 1 else ()
    return tuple(Meant(reading.quantity, thing, 1.0) for thing in only)


def _is_whole_machine(component: str, machine: Machine) -> bool:
    own = {*f"{machine.name} {machine.kind}".lower().split(), *WHOLE}
    return set(component.split()) <= own
