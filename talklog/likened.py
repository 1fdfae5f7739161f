"""Step 5d: numbers whose words may mean two, settled by the values beside them. Knows no bands.

"one oh eight" is 108 behind "ninety eight" and 1.08 behind "one point one". Of a battery "twelve
six" is 12.6 V: what its voltage can be leaves nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from talklog.notes import Reading
from talklog.numbers import Number
from talklog.role_rules.doubts import UNPOINTED, also_mean
from talklog.roled import MEASURING, RoledNumber
from talklog.vocabulary import load

VOLTAGE = "voltage"
SYSTEMS = ((Decimal(6), Decimal(16)), (Decimal(22), Decimal(32)))  # volts of 12 V and 24 V ones
# Where the other number was 8 times off and a value like the first stood in the note, the first was
# right 60 times of 62 (train, dev, check); where one like the other stood there, 3 times of 22.
OFF, LIKE = 8, Decimal("1.5")


def likened(roled: Sequence[RoledNumber], readings: Sequence[Reading]) -> tuple[RoledNumber, ...]:
    """The numbers, some of them without their doubt or with the other number their words mean."""
    made = {reading.last: reading for reading in readings}
    return tuple(_likened(item, made, readings) for item in roled)


def _likened(
    item: RoledNumber, made: Mapping[int, Reading], readings: Sequence[Reading]
) -> RoledNumber:
    reading = made.get(item.last)
    if item.doubt is None or item.role not in MEASURING or reading is None:
        return item
    if item.doubt == UNPOINTED and _is_of_system(item, reading):
        because = f"{item.because}; {item.number.said} by what its {VOLTAGE} can be"
        return replace(item, doubt=None, because=because)
    told = [other for other in item.others if item.doubt == also_mean(item.others)]
    if not told or any(_off(other.value, item.number.value) < OFF for other in told):
        return item
    beside = [r.value for r in _comparable(reading, readings)]
    own = _is_like(item.number, beside)
    others = [other for other in told if _is_like(other, beside)]
    if own and not others:
        return replace(item, doubt=None, because=f"{item.because}; like a value beside it")
    return _other_way(item, others[0]) if others and not own else item


def _is_of_system(item: RoledNumber, reading: Reading) -> bool:
    """Whether a value is one of a vehicle's electric system, and of a thing that tells it."""
    fits = any(low <= item.number.value <= high for low, high in SYSTEMS)
    named = set(reading.component.split()[-1:]) & load().of_system_voltage
    return fits and reading.quantity == VOLTAGE and bool(named)


def _comparable(reading: Reading, readings: Sequence[Reading]) -> Iterator[Reading]:
    """Other values of the same quantity, whose own number is certain."""
    for other in readings:
        certain = other.doubt is None or "unit" in other.doubt
        if other is not reading and other.quantity == reading.quantity and certain:
            yield other


def _is_like(number: Number, values: Sequence[Decimal]) -> bool:
    return any(_off(number.value, value) <= LIKE for value in values)


def _off(one: Decimal, other: Decimal) -> Decimal:
    """How many times the larger of two values is the smaller; without end if one is nothing."""
    low, high = sorted((abs(one), abs(other)))
    return high / low if low else Decimal("Infinity")


def _other_way(item: RoledNumber, number: Number) -> RoledNumber:
    """Read as the other number, and asked about all the same."""
    others = (item.number, *(n for n in item.others if n is not number))
    because = f"{item.because}; like a value beside it"
    return replace(
        item, number=number, others=others, doubt=also_mean((item.number,)), because=because
    )
