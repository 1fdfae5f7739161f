"""What a note says, once understood: the result of steps 3 to 5, before any band is looked at.

All spans are inclusive word indices into the Transcript. Names of quantities, units and roles are
those of the record contract (see ``record``).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

NOT_SAID = "not said"


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another way the same words could be read."""

    value: Decimal
    said: str
    unit: str | None
    why: str


@dataclass(frozen=True, slots=True)
class Meant:
    """What a reading may be of instead of what was taken as most probable."""

    quantity: str
    component: str
    chance: float


@dataclass(frozen=True, slots=True)
class Reading:
    """A value that was measured, set, found or left. ``unit`` is a trade name, ``None`` if no unit
    was said. ``doubt`` is ``None`` when certain, else the plain reason why it must be asked.
    ``confidence`` is the probability that value and unit were heard right, ``None`` for typed
    text; ``sounds_like`` is what it may have been instead, by ear; ``may_be`` what it may be of;
    ``thing_chance`` is how probable it is that it is of this component, ``None`` where a person
    said so; ``presumed`` names the fields that were not said plainly and are but most probable."""

    quantity: str
    component: str
    position: str | None
    condition: str | None
    value: Decimal
    said: str
    unit: str | None
    role: str  # measured, set, as_found, as_left
    first: int
    last: int
    reason: str
    doubt: str | None = None
    alternatives: tuple[Alternative, ...] = ()
    confidence: float | None = None
    sounds_like: tuple[Alternative, ...] = ()
    may_be: tuple[Meant, ...] = ()
    thing_chance: float | None = None
    presumed: tuple[str, ...] = ()  # of quantity, component, position, role


@dataclass(frozen=True, slots=True)
class SetAside:
    """A number that is not a reading; ``why`` is one of quoted_spec, other_opinion, tool_size,
    part_size, superseded, intention, hypothetical, time_or_date, count."""

    why: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Perhaps:
    """A number that was not read, though it may be a reading: why not, and which it would be."""

    why: str
    reading: Reading
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Action:
    """``verb`` is a base form ("fit"); ``done`` is False for work left to do or not done."""

    verb: str
    component: str
    position: str | None
    done: bool
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Part:
    """``status`` is fitted, needed, missing, reused or on_order."""

    name: str
    quantity: int | None
    status: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Finding:
    """A condition seen on a component ("worn", "leaking", "no play")."""

    component: str
    condition: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Due:
    """When a follow-up is due; exactly one field is set. ``duration`` is ISO 8601, ``date`` RFC
    3339 full-date; ``distance`` is (decimal string, unit)."""

    event: str | None = None
    distance: tuple[str, str] | None = None
    hours: str | None = None
    duration: str | None = None
    date: str | None = None


@dataclass(frozen=True, slots=True)
class FollowUp:
    """Something to do later, in the speaker's words."""

    what: str
    component: str | None
    due: Due | None
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class SpokenCaution:
    """A warning the speaker gave ("keep your fingers clear of the fan")."""

    text: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Unsure:
    """Words that matter and could not be settled; ``why`` is a plain sentence."""

    why: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Meter:
    """The machine's meter: odometer (km, mi) or hour meter (h)."""

    value: Decimal
    said: str
    unit: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Notes:
    """Everything one note says. ``words`` are all of its words; ``perhaps`` are numbers that stand
    among those set aside or unsure."""

    readings: tuple[Reading, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    actions: tuple[Action, ...] = ()
    parts: tuple[Part, ...] = ()
    findings: tuple[Finding, ...] = ()
    follow_ups: tuple[FollowUp, ...] = ()
    cautions: tuple[SpokenCaution, ...] = ()
    unsure: tuple[Unsure, ...] = ()
    meter: Meter | None = None
    words: tuple[str, ...] = ()
    perhaps: tuple[Perhaps, ...] = ()
