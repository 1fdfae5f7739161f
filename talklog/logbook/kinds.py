"""The types that the logbook takes and gives. Nothing of SQLite is in them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from talklog.record import ServiceRecord

Origin = Literal["taken", "corrected"]


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine of the book. ``serial`` is a serial number or a VIN, ``meter_unit`` that of its
    odometer (km, mi) or hour meter (h)."""

    key: str
    name: str
    kind: str | None = None
    serial: str | None = None
    meter_unit: str | None = None


@dataclass(frozen=True, slots=True)
class KnownMachine:
    """A machine with what the book knows of it. ``meter`` is the last one that was said, as text
    in ``meter_unit`` of that note, with the day it was said."""

    machine: Machine
    entries: int
    open_follow_ups: int
    meter: str | None
    meter_unit: str | None
    meter_on: str | None


@dataclass(frozen=True, slots=True)
class Summary:
    """A line of a list. ``stops`` and ``looks`` count the flags of that level, ``unsure`` the
    items to ask about; ``revisions`` is the number of the current revision."""

    id: int
    machine: str | None
    machine_name: str | None
    made_at: str
    said_at: str
    name: str
    readings: int
    stops: int
    looks: int
    unsure: int
    revisions: int
    sealed: bool
    amended: bool


@dataclass(frozen=True, slots=True)
class Entry:
    """One note of the book with its current record. ``sealed`` is true from the first seal on;
    ``amended`` when a revision was made after the last seal."""

    id: int
    machine: str | None
    made_at: str
    said_at: str
    name: str
    sealed: bool
    amended: bool
    revisions: int
    audio_sha256: str | None
    record: ServiceRecord


@dataclass(frozen=True, slots=True)
class Revision:
    """One version of a record: who made it, what was changed, and the SHA-256 of its canonical
    JSON. ``amendment`` is true for those made after a seal."""

    number: int
    made_at: str
    who: str
    what: str
    origin: Origin
    sha256: str
    amendment: bool


@dataclass(frozen=True, slots=True)
class Seal:
    """A signature: who, when, of which revision, and the hash over content, recording and all
    history before it (``seals.seal_hash`` says of what exactly)."""

    entry_id: int
    number: int
    revision: int
    made_at: str
    who: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Hit:
    """A search hit. In ``excerpt`` the words found stand between « and »."""

    summary: Summary
    excerpt: str
