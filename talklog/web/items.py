"""A ServiceRecord -> what the page shows of it, in the order in which somebody must look."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from talklog.corrections import is_looked_at
from talklog.record import Reading, ServiceRecord
from talklog.report import VERDICTS, limits, make_sheet, named, quantity

OUT = ("low", "high", "unit_mismatch")
_MARKS = {"low": "▼", "high": "▲", "unit_mismatch": "≠", "unsure": "?", "in_band": "✓"}
_LISTS = {"actions": "Work", "parts": "Parts", "findings": "Found", "follow_ups": "Still to do"}


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to look at. ``slug`` names it in the page; ``group`` and ``index`` in the record.
    ``start`` and ``end`` are seconds, ``None`` for typed text. ``fields`` are as they stand, for
    the form; ``kinds`` are the corrections that it offers."""

    slug: str
    group: str
    index: int
    title: str
    amount: str
    verdict: str
    mark: str
    detail: str
    heard: str
    words: tuple[int, int]
    start: float | None
    end: float | None
    is_open: bool = False
    looked_at: bool = False
    kinds: tuple[str, ...] = ()
    fields: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Shown:
    """All items of a record: out of band, unsure, and the rest; what was not heard at all."""

    out: tuple[Item, ...]
    missing: tuple[tuple[str, str, str], ...]
    unsure: tuple[Item, ...]
    readings: tuple[Item, ...]
    others: tuple[tuple[str, tuple[Item, ...]], ...]
    aside: tuple[Item, ...]

    @property
    def everything(self) -> tuple[Item, ...]:
        """All items in the order of the page."""
        rest = (item for _, items in self.others for item in items)
        return (*self.out, *self.unsure, *self.readings, *rest, *self.aside)

    @property
    def left(self) -> tuple[Item, ...]:
        """Items that nobody has looked at and somebody must."""
        return tuple(item for item in self.everything if item.is_open)


def shown(record: ServiceRecord) -> Shown:
    """The items of a record, most urgent first."""
    readings = [_reading(record, place, one) for place, one in enumerate(record.readings)]
    doubtful = [item for item in readings if item.verdict == VERDICTS["unsure"] and item.is_open]
    out = [item for item in readings if record.readings[item.index].verdict in OUT]
    settled = [item for item in readings if item not in doubtful and item not in out]
    asked = (_asked(record, place, one) for place, one in enumerate(record.unsure))
    covered = [one.words for one in record.readings if one.verdict == "unsure"]
    asked = [item for item in asked if not any(_overlap(item.words, span) for span in covered)]
    return Shown(
        out=tuple(sorted(out, key=lambda item: not item.is_open)),
        missing=tuple(_missing(record)),
        unsure=tuple(sorted([*doubtful, *asked], key=lambda item: item.words)),
        readings=tuple(settled),
        others=tuple(_others(record)),
        aside=tuple(_aside(record)),
    )


def _reading(record: ServiceRecord, place: int, one: Reading) -> Item:
    looked_at = is_looked_at(one)
    must = one.verdict in (*OUT, "unsure")
    beside = f" (limits {limits(one.band)})" if one.band else ""
    return _item(
        record,
        one,
        slug=f"r{place}",
        group="readings",
        index=place,
        title=named(one),
        amount=f"{quantity(one.value, one.unit)} {one.role.replace('_', ' ')}{beside}",
        verdict=VERDICTS[one.verdict],
        mark=_MARKS.get(one.verdict, "–"),
        detail=one.reason,
        is_open=must and not looked_at,
        looked_at=looked_at,
        kinds=("correct", "set_aside") if looked_at and one.verdict != "unsure" else _ALL,
        fields=_fields(one),
    )


_ALL = ("accept", "correct", "set_aside")


def _fields(one: Any) -> dict[str, str]:
    names = ("value", "unit", "quantity", "component", "position", "condition", "role")
    return {name: getattr(one, name, None) or "" for name in names}


def _item(record: ServiceRecord, one: Any, **more: Any) -> Item:
    first, last = one.words
    words = record.words
    return Item(
        heard=one.heard, words=one.words, start=words[first].start, end=words[last].end, **more
    )


def _asked(record: ServiceRecord, place: int, one: Any) -> Item:
    return _item(
        record,
        one,
        slug=f"u{place}",
        group="unsure",
        index=place,
        title=f"“{one.heard}”",
        amount="",
        verdict=VERDICTS["unsure"],
        mark=_MARKS["unsure"],
        detail=one.why,
        is_open=True,
        kinds=("read", "set_aside", "dismiss"),
        fields=dict.fromkeys(("value", "unit", "quantity", "component", "position"), "")
        | {"condition": "", "role": "measured"},
    )


def _aside(record: ServiceRecord) -> Iterator[Item]:
    for place, (one, line) in enumerate(
        zip(record.set_aside, make_sheet(record).set_aside, strict=True)
    ):
        yield _item(
            record,
            one,
            slug=f"s{place}",
            group="set_aside",
            index=place,
            title=f"“{one.heard}”",
            amount="",
            verdict="set aside",
            mark="–",
            detail=line.lead,
            kinds=("read",),
            fields=_fields(None) | {"role": "measured"},
        )


def _others(record: ServiceRecord) -> Iterator[tuple[str, tuple[Item, ...]]]:
    """The meter, work, parts, faults and things to do, worded as on the printed sheet."""
    if record.meter:
        yield "Meter", (_meter(record),)
    sheet = make_sheet(record)
    lines = (sheet.work, sheet.parts, sheet.findings, sheet.follow_ups)
    for (group, heading), texts in zip(_LISTS.items(), lines, strict=True):
        items = tuple(
            _plain(record, group, place, f"{line.lead}: {line.text}" if line.lead else line.text)
            for place, line in enumerate(texts)
        )
        if items:
            yield heading, items


def _plain(record: ServiceRecord, group: str, place: int, title: str) -> Item:
    one = getattr(record, group)[place]
    return _item(
        record, one, slug=f"{group[:2]}{place}", group=group, index=place, title=title, amount="",
        verdict="", mark="", detail="", kinds=("strike",),
    )  # fmt: skip


def _meter(record: ServiceRecord) -> Item:
    meter = record.meter
    return _item(
        record, meter, slug="m0", group="meter", index=0, title="meter",
        amount=quantity(meter.value, meter.unit), verdict="", mark="", detail="",
        kinds=("correct", "strike"), fields={"value": meter.value, "unit": meter.unit},
    )  # fmt: skip


def _missing(record: ServiceRecord) -> Iterable[tuple[str, str, str]]:
    """Flags that are about no reading: what the sheet expects and nobody said."""
    reasons = [reading.reason for reading in record.readings]
    for flag in record.flags:
        lead = flag.text.partition(". ")[0]
        if not any(lead in reason for reason in reasons):
            yield flag.level.upper(), flag.about, flag.text


def _overlap(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return one[0] <= other[1] and other[0] <= one[1]
