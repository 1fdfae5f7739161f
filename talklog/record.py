"""ServiceRecord, the only form in which a note is kept or shown, and its JSON.

A record is self-contained and JSON-safe: values are decimal strings as they were said, and every
item carries the words it came from; through ``words`` of the record, the seconds too. The JSON
Schema (2020-12) lies beside the data files; after a change of the models write it again with

    python -m talklog.record > talklog/data/record-1.schema.json
"""

from __future__ import annotations

import json
from collections.abc import Generator, Iterable
from contextlib import contextmanager
from datetime import UTC, date, datetime
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    SerializerFunctionWrapHandler,
    ValidationError,
    model_serializer,
    model_validator,
)

from talklog.errors import RecordError

SCHEMA = "talklog/record/1"

# RFC 3339: date-time of section 5.6, duration of appendix A.
_DATE = r"[0-9]{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12][0-9]|3[01])"
_CLOCK = r"(?:[01][0-9]|2[0-3]):[0-5][0-9]"
DATE_TIME = rf"^{_DATE}[Tt]{_CLOCK}:(?:[0-5][0-9]|60)(?:\.[0-9]+)?(?:[Zz]|[+-]{_CLOCK})$"
_DAYS = "(?:[0-9]+Y(?:[0-9]+M(?:[0-9]+D)?)?|[0-9]+M(?:[0-9]+D)?|[0-9]+D)"
_TIME = "T(?:[0-9]+H(?:[0-9]+M(?:[0-9]+S)?)?|[0-9]+M(?:[0-9]+S)?|[0-9]+S)"
DURATION = f"^P(?:[0-9]+W|{_DAYS}(?:{_TIME})?|{_TIME})$"


def _real_time(text: str) -> str:
    """Refuses 30 February, and a second 60 that is not the last of a UTC day."""
    leap = text[17:19] == "60"
    moment = datetime.fromisoformat(text.upper().replace(":60", ":59", 1) if leap else text.upper())
    if leap and moment.astimezone(UTC).strftime("%H:%M") != "23:59":
        raise ValueError("a leap second stands only at 23:59:60 UTC")
    return text


def _real_date(text: str) -> str:
    date.fromisoformat(text)
    return text


def _rising(span: tuple[int, int]) -> tuple[int, int]:
    if span[0] > span[1]:
        raise ValueError("first word after the last")
    return span


Index = Annotated[int, Field(ge=0)]
Span = Annotated[tuple[Index, Index], AfterValidator(_rising)]
Text = Annotated[str, Field(min_length=1)]
Number = Annotated[str, Field(pattern=r"^-?[0-9]+(?:\.[0-9]+)?$")]
Seconds = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Confidence = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
DateTime = Annotated[str, Field(pattern=DATE_TIME), AfterValidator(_real_time)]
Date = Annotated[str, Field(pattern=f"^{_DATE}$"), AfterValidator(_real_date)]

Role = Literal["measured", "set", "as_found", "as_left"]
Verdict = Literal["in_band", "low", "high", "no_band", "unsure", "unit_mismatch"]
Why = Literal[
    "quoted_spec",
    "other_opinion",
    "tool_size",
    "part_size",
    "superseded",
    "intention",
    "hypothetical",
    "time_or_date",
    "count",
]
Presumed = Literal["quantity", "component", "position", "role"]
PartStatus = Literal["fitted", "needed", "missing", "reused", "on_order"]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Machine(_Model):
    """The machine of the band sheet the note was read with."""

    key: Text
    name: Text


class SourceRef(_Model):
    """Where the words came from. The last three are null for typed text."""

    kind: Literal["audio", "text"]
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    seconds: Seconds | None
    engine: str | None
    model: str | None


class HeardWord(_Model):
    """One word; ``start`` and ``end`` are seconds into the recording, null for typed text."""

    text: Text
    start: Seconds | None
    end: Seconds | None
    confidence: Confidence | None


class _Heard(_Model):
    heard: Text
    words: Span


class Meter(_Heard):
    """The machine's odometer or hour meter."""

    value: Number
    unit: Text
    ucum: Text


class SiValue(_Model):
    """A value in the SI unit shown beside the unit as spoken."""

    value: Number
    unit: Text


class BandRef(_Model):
    """The limits a reading was judged by, copied from the band sheet."""

    low: Number | None
    high: Number | None
    high_open: bool
    unit: Text | None
    condition: Text | None
    source: Text
    authority: Text | None
    critical: bool


class Reading(_Heard):
    """A value that was measured, set, found or left. A unit that was not said is null.
    ``presumed`` names fields that were not said plainly and are but most probable; it is written
    only where there are any."""

    quantity: Text
    component: Text
    position: Text | None
    condition: Text | None
    value: Number
    unit: Text | None
    ucum: Text | None
    si: SiValue | None
    role: Role
    verdict: Verdict
    band: BandRef | None
    reason: str
    start: Seconds | None
    end: Seconds | None
    confidence: Confidence | None
    presumed: tuple[Presumed, ...] = ()

    @model_serializer(mode="wrap")
    def _without_empty(self, plain: SerializerFunctionWrapHandler) -> dict[str, Any]:
        fields = plain(self)
        return fields if self.presumed else {k: v for k, v in fields.items() if k != "presumed"}


class SetAside(_Heard):
    """A number that is not a reading, and why."""

    why: Why


class Action(_Heard):
    """Work done, or left undone. ``verb`` is the base form."""

    verb: Text
    component: Text
    position: Text | None
    done: bool


class Part(_Heard):
    """A part used, wanted or missing."""

    name: Text
    quantity: Index | None
    status: PartStatus


class Finding(_Heard):
    """A condition seen on a component."""

    component: Text
    condition: Text


class DueEvent(_Model):
    """Due at an event ("before it is used again")."""

    event: Text


class DueDistance(_Model):
    """Due after a distance."""

    distance: Number
    unit: Text


class DueHours(_Model):
    """Due after running hours."""

    hours: Number


class DueDuration(_Model):
    """Due after a time: ISO 8601 in the grammar of RFC 3339, appendix A."""

    duration: Annotated[str, Field(pattern=DURATION)]


class DueDate(_Model):
    """Due on a day: RFC 3339 full-date."""

    date: Date


Due = DueEvent | DueDistance | DueHours | DueDuration | DueDate


class FollowUp(_Heard):
    """Something to do later."""

    what: Text
    component: Text | None
    due: Due | None


class Caution(_Model):
    """A warning, from the speaker or from talklog."""

    text: Text
    origin: Literal["speaker", "talklog"] = Field(alias="from")


class Unsure(_Heard):
    """Words that matter and could not be settled."""

    why: Text


class Flag(_Model):
    """Something to look at: stop before use, look, or note."""

    level: Literal["stop", "look", "note"]
    about: Text
    text: Text


class ServiceRecord(_Model):
    """One note about one machine. ``id`` is the same for the same source and machine, so taking a
    note again gives a new version of the same record and never a second one."""

    schema_name: Literal["talklog/record/1"] = Field(alias="schema")
    id: Annotated[str, Field(pattern="^[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}$")]
    made_at: DateTime
    machine: Machine | None
    meter: Meter | None
    source: SourceRef
    words: tuple[HeardWord, ...]
    readings: tuple[Reading, ...]
    set_aside: tuple[SetAside, ...]
    actions: tuple[Action, ...]
    parts: tuple[Part, ...]
    findings: tuple[Finding, ...]
    follow_ups: tuple[FollowUp, ...]
    cautions: tuple[Caution, ...]
    unsure: tuple[Unsure, ...]
    flags: tuple[Flag, ...]

    @model_validator(mode="after")
    def _words_are_those_said(self) -> ServiceRecord:
        """Every span lies within the words, and ``heard`` is what they say."""
        for item in _spoken_items(self):
            first, last = item.words
            if last >= len(self.words):
                raise ValueError(f"words {first}..{last} of {item.heard!r} are not in the record")
            said = " ".join(word.text for word in self.words[first : last + 1])
            if said != item.heard:
                raise ValueError(f"words {first}..{last} say {said!r}, not {item.heard!r}")
        return self


def _spoken_items(record: ServiceRecord) -> Iterable[_Heard]:
    groups = (
        record.readings,
        record.set_aside,
        record.actions,
        record.parts,
        record.findings,
        record.follow_ups,
        record.unsure,
        (record.meter,) if record.meter else (),
    )
    return (item for group in groups for item in group)


# ---- reading and writing -------------------------------------------------------------------------


def to_json(records: ServiceRecord | Iterable[ServiceRecord]) -> str:
    """One record as a JSON object, several as a list."""
    if isinstance(records, ServiceRecord):
        body: Any = records.model_dump(mode="json", by_alias=True)
    else:
        body = [record.model_dump(mode="json", by_alias=True) for record in records]
    return json.dumps(body, ensure_ascii=False, indent=2, allow_nan=False)


def load_record(text: str | bytes, *, where: str = "record") -> ServiceRecord:
    """A record of its JSON text. Raises RecordError that says which field breaks the schema."""
    with schema_kept(where):
        return ServiceRecord.model_validate_json(text)


@contextmanager
def schema_kept(where: str) -> Generator[None]:
    """What breaks the schema is told as a RecordError that says which field does."""
    try:
        yield
    except ValidationError as error:
        raise RecordError(f"{where}: {_first_problem(error)}") from error


def _first_problem(error: ValidationError) -> str:
    problem = error.errors(include_url=False)[0]
    field = ".".join(map(str, problem["loc"])) or "whole record"
    more = f" (and {error.error_count() - 1} more)" if error.error_count() > 1 else ""
    return f"not a {SCHEMA} record: {field}: {problem['msg']}{more}"


def json_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of version 1."""
    body = ServiceRecord.model_json_schema(by_alias=True)
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:talklog:record:1",
    }
    return head | body


if __name__ == "__main__":
    print(json.dumps(json_schema(), indent=2, ensure_ascii=False))
