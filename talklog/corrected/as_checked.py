"""A reading of a record -> the same as ``check`` takes and gives it."""

from __future__ import annotations

from decimal import Decimal

from talklog import notes
from talklog.bands import Band, plain_words
from talklog.errors import CorrectionError
from talklog.record import Reading, ServiceRecord
from talklog.verdicts.kinds import CheckedReading


def as_checked(record: ServiceRecord, reading: Reading) -> CheckedReading:
    """A reading of the record with its verdict as it stands."""
    band = band_carried(record, reading)
    return CheckedReading(certain_reading(reading), reading.verdict, band, reading.reason)


def certain_reading(reading: Reading) -> notes.Reading:
    """A reading of the record as ``check`` takes it, without doubt: a person has looked."""
    if not reading.value or not reading.quantity:
        raise CorrectionError("A reading needs a value and what was measured.")
    return notes.Reading(
        quantity=reading.quantity,
        component=reading.component,
        position=reading.position,
        condition=reading.condition,
        value=Decimal(reading.value),
        said=reading.value,
        unit=reading.unit,
        role=reading.role,
        first=reading.words[0],
        last=reading.words[1],
        reason="",
    )


def band_carried(record: ServiceRecord, reading: Reading) -> Band | None:
    """The band of a record as ``check`` takes it. Its caution stands among those of the record."""
    kept = reading.band
    if kept is None:
        return None
    limits = {
        name: None if limit is None else Decimal(limit)
        for name, limit in (("low", kept.low), ("high", kept.high))
    }
    return Band(
        quantity=reading.quantity,
        component=reading.component,
        source=kept.source,
        unit=kept.unit,
        condition=kept.condition,
        caution=_caution(record, reading.component),
        critical=kept.critical,
        authority=kept.authority,
        high_open=kept.high_open,
        **limits,
    )


def _caution(record: ServiceRecord, component: str) -> str | None:
    """The line of a band sheet for a component, which a record keeps as "component: line"."""
    said = plain_words(component)
    for caution in record.cautions:
        head, colon, line = caution.text.partition(": ")
        name = plain_words(head)
        if caution.origin == "talklog" and colon and name and said[-len(name) :] == name:
            return line
    return None
