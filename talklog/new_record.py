"""Step 7: everything known about a note -> ServiceRecord."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Any

from talklog import bands, cautions, notes, transcript
from talklog.record import (
    SCHEMA,
    Action,
    BandRef,
    Caution,
    Due,
    DueDate,
    DueDistance,
    DueDuration,
    DueEvent,
    DueHours,
    Finding,
    Flag,
    FollowUp,
    HeardWord,
    Machine,
    Meter,
    Part,
    Reading,
    ServiceRecord,
    SetAside,
    SiValue,
    SourceRef,
    Unsure,
    schema_kept,
)
from talklog.units import si_of, unit_named
from talklog.verdicts.kinds import Checked, CheckedReading

_ID_SPACE = uuid.uuid5(uuid.NAMESPACE_URL, "urn:talklog:record:1")


def make_record(
    said: transcript.Transcript,
    understood: notes.Notes,
    checked: Checked,
    *,
    machine: bands.Machine | None = None,
    warned: Iterable[cautions.Caution] = (),
    made_at: datetime | None = None,
) -> ServiceRecord:
    """The record of a note. ``made_at`` must have an offset; now, in local time, if not given.

    Raises RecordError when a part breaks the schema, which means a fault in an earlier step.
    """
    understood = _once(understood, checked)
    moment = (made_at or datetime.now().astimezone()).isoformat(timespec="seconds")
    with schema_kept(said.source.name):
        return ServiceRecord(
            schema=SCHEMA,
            id=record_id(said.source.sha256, machine.key if machine else None),
            made_at=moment,
            machine=Machine(key=machine.key, name=machine.name) if machine else None,
            source=SourceRef(**_fields(said.source, SourceRef)),
            words=tuple(HeardWord(**_fields(word, HeardWord)) for word in said.words),
            readings=tuple(_reading(item, said) for item in checked.readings),
            cautions=_cautions(warned, checked),
            unsure=tuple(_unsure(understood, checked, said)),
            flags=tuple(Flag(**_fields(flag, Flag)) for flag in checked.flags),
            **_plain_parts(understood, said),
        )


def _once(understood: notes.Notes, checked: Checked) -> notes.Notes:
    """The note with what the check asks about among what is unsure, and nowhere else."""
    spans = {(one.first, one.last) for one in checked.asked}
    aside = (one for one in understood.set_aside if (one.first, one.last) not in spans)
    unsure = (one for one in understood.unsure if (one.first, one.last) not in spans)
    return replace(understood, set_aside=tuple(aside), unsure=(*unsure, *checked.asked))


def record_id(sha256: str, machine_key: str | None) -> str:
    """A UUID (version 5) of source and machine. The machine is in it because a record belongs in
    one machine's book: the same recording read for another machine is another record."""
    return str(uuid.uuid5(_ID_SPACE, f"{sha256}\n{machine_key or ''}"))


def _plain_parts(understood: notes.Notes, said: transcript.Transcript) -> dict[str, Any]:
    """What goes into the record as it is."""
    kinds = (("set_aside", SetAside), ("actions", Action), ("parts", Part), ("findings", Finding))
    plain: dict[str, Any] = {
        name: tuple(kind(**_spoken(item, kind, said)) for item in getattr(understood, name))
        for name, kind in kinds
    }
    plain["follow_ups"] = tuple(_follow_up(item, said) for item in understood.follow_ups)
    plain["meter"] = _meter(understood.meter, said) if understood.meter else None
    return plain


def _fields(item: Any, kind: type[Any]) -> dict[str, Any]:
    """The fields of a step's dataclass that the model has too."""
    return {name: getattr(item, name) for name in kind.model_fields if hasattr(item, name)}


def _spoken(item: Any, kind: type[Any], said: transcript.Transcript) -> dict[str, Any]:
    span = (item.first, item.last)
    return {**_fields(item, kind), "words": span, "heard": said.heard(*span)}


def _reading(item: CheckedReading, said: transcript.Transcript) -> Reading:
    reading = item.reading
    span = said.words[reading.first : reading.last + 1]
    sure = [word.confidence for word in span if word.confidence is not None]
    common = _spoken(reading, Reading, said) | {
        "value": reading.said,
        "verdict": item.verdict,
        "band": band_ref(item.band) if item.band else None,
        "reason": _reason(reading.reason, item.reason),
        "start": span[0].start,
        "end": span[-1].end,
        "confidence": min(sure) if sure and reading.confidence is None else reading.confidence,
    }
    return Reading(**common, **unit_fields(reading))


def _reason(understood: str, judged: str) -> str:
    """Why the words were understood so, then why the verdict is what it is."""
    ended = understood if not understood or understood.endswith((".", "?")) else f"{understood}."
    return " ".join(filter(None, (ended, judged)))


def unit_fields(reading: notes.Reading) -> dict[str, Any]:
    """``ucum`` and ``si`` of a reading: UCUM code and SI value, ``None`` without a unit."""
    if reading.unit is None:
        return {"ucum": None, "si": None}
    value, unit = si_of(reading.value, reading.unit)
    return {"ucum": unit_named(reading.unit).ucum, "si": SiValue(value=f"{value:f}", unit=unit)}


def band_ref(band: bands.Band) -> BandRef:
    """The limits of a band as a record keeps them."""
    limits = {
        name: None if limit is None else f"{limit:f}"
        for name, limit in (("low", band.low), ("high", band.high))
    }
    return BandRef(**_fields(band, BandRef) | limits)


def _follow_up(item: notes.FollowUp, said: transcript.Transcript) -> FollowUp:
    return FollowUp(**_spoken(item, FollowUp, said) | {"due": _due(item.due)})


def _due(due: notes.Due | None) -> Due | None:
    if due is None:
        return None
    if due.distance:
        return DueDistance(distance=due.distance[0], unit=due.distance[1])
    if due.event:
        return DueEvent(event=due.event)
    if due.hours:
        return DueHours(hours=due.hours)
    return DueDuration(duration=due.duration) if due.duration else DueDate(date=due.date)


def _meter(meter: notes.Meter, said: transcript.Transcript) -> Meter:
    extra = {"value": meter.said, "ucum": unit_named(meter.unit).ucum}
    return Meter(**_spoken(meter, Meter, said) | extra)


def _cautions(warned: Iterable[cautions.Caution], checked: Checked) -> tuple[Caution, ...]:
    """The cautions found, then those that the band sheet has for the readings."""
    lines = [(caution.text, caution.origin) for caution in warned]
    judged = [item.band for item in checked.readings if item.band and item.band.caution]
    lines += [(f"{band.component}: {band.caution}", cautions.TALKLOG) for band in judged]
    return tuple(Caution(**{"text": text, "from": origin}) for text, origin in dict.fromkeys(lines))


def _unsure(
    understood: notes.Notes, checked: Checked, said: transcript.Transcript
) -> Iterable[Unsure]:
    """What the note left open, then readings that could not be judged, each place once."""
    asked = [(item.first, item.last, item.why) for item in understood.unsure]
    places = [(first, last) for first, last, _ in asked]
    for item in checked.readings:
        first, last = item.reading.first, item.reading.last
        known = any(a <= last and first <= b for a, b in places)
        if item.verdict == "unsure" and not known:
            asked.append((first, last, item.reason))
    for first, last, why in sorted(asked):
        yield Unsure(heard=said.heard(first, last), why=why, words=(first, last))
