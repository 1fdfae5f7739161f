"""Readings of a machine over time, how fast a thing wears, and when it would reach its limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from talklog.logbook.lines import line_through, reach
from talklog.logbook.store import Logbook
from talklog.trades import dictionary_name
from talklog.units import convert, same_kind, weighed

_DOUBTFUL = ("unsure", "unit_mismatch")
_POINTS = """
SELECT r.entry_id, e.said_at, e.meter, e.meter_unit, r.component, r.quantity, r.position,
    r.condition, r.value, r.unit, r.si_value, r.si_unit, r.role, r.verdict, r.band_low,
    r.band_high, r.band_unit
FROM reading AS r JOIN entry AS e ON e.id = r.entry_id JOIN machine AS m ON m.id = r.machine_id
WHERE m.key = ? {more} ORDER BY e.said_utc, r.entry_id, r.number
"""
_PARTS = """
SELECT e.said_at, e.id, p.name, p.quantity, p.status
FROM part AS p JOIN entry AS e ON e.id = p.entry_id JOIN machine AS m ON m.id = p.machine_id
WHERE m.key = ? AND p.status = 'fitted' ORDER BY e.said_utc, e.id, p.number
"""


@dataclass(frozen=True, slots=True)
class Point:
    """One reading in time. ``value`` is as it was said; ``meter`` that of its note."""

    entry_id: int
    said_at: str
    meter: float | None
    meter_unit: str | None
    component: str
    quantity: str
    position: str | None
    condition: str | None
    value: str
    unit: str | None
    si_value: float | None
    si_unit: str | None
    role: str
    verdict: str
    band_low: str | None
    band_high: str | None
    band_unit: str | None

    @property
    def day(self) -> date:
        return date.fromisoformat(self.said_at[:10])


@dataclass(frozen=True, slots=True)
class Replaced:
    """A part that was fitted, and when."""

    said_at: str
    entry_id: int
    name: str
    quantity: int | None


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through readings: ``rate`` of ``unit`` per ``per`` (a meter unit or "day"),
    with its standard ``error``; ``spread`` is what the rate may be off in 95 % of cases.
    ``limit`` is the limit it moves towards, reached at ``at``, in 95 % of cases between
    ``earliest`` and ``latest`` (``None``: perhaps never); ``last`` is the place of the last
    reading. Places are meters, or days counted from the first reading."""

    rate: float
    error: float
    spread: float
    unit: str
    per: str
    readings: int
    limit: float | None
    at: float | None
    earliest: float | None
    latest: float | None
    last: float
    first_day: date

    def day_at(self, place: float) -> date:
        """The day of a place, where ``per`` is "day"."""
        return self.first_day + timedelta(days=round(place))


def history(
    book: Logbook,
    machine: str,
    *,
    component: str | None = None,
    quantity: str | None = None,
    position: str | None = None,
) -> list[Point]:
    """The readings of a machine, the oldest first. Raises LogbookError for an unknown machine."""
    key = book.known_key(machine)
    wanted = {"component": component, "quantity": quantity, "position": position}
    asked = {name: text for name, text in wanted.items() if text is not None}
    more = "".join(f" AND r.{name} = ?" for name in asked)
    with book.database.reading() as connection:
        found = connection.execute(_POINTS.format(more=more), (key, *asked.values()))
        return [Point(*row) for row in found]


def replaced(book: Logbook, machine: str) -> list[Replaced]:
    """What was fitted to a machine and when, the oldest first."""
    key = book.known_key(machine)
    with book.database.reading() as connection:
        rows = connection.execute(_PARTS, (key,))
        return [Replaced(row[0], row[1], row[2], row[3]) for row in rows]


def groups(points: Sequence[Point]) -> dict[tuple[str, str, str], list[Point]]:
    """Points by (component, position, quantity): only these can be laid on one line. A "pad" is on
    that of the "brake pad" where some note of the machine calls it so."""
    found: dict[tuple[str, str, str], list[Point]] = {}
    named = {point.component for point in points}
    for point in points:
        whole = dictionary_name(point.component)
        name = whole if whole in named else point.component
        found.setdefault((name, point.position or "", point.quantity), []).append(point)
    return found


def trend(points: Sequence[Point]) -> Trend | None:
    """The line through readings of one thing; ``None`` for fewer than FEWEST, for readings whose
    units measure different things, or for readings all at one time.

    Readings that are unsure do not count. Values that a person left or set begin a new wear; so
    does only what follows the last of them.
    """
    worn = since_last_set([point for point in points if point.verdict not in _DOUBTFUL])
    values = _values(worn)
    if not values:
        return None
    per, places = _places(worn)
    line = line_through(places, values)
    if line is None:
        return None
    limit = _limit(worn[-1], line.slope)
    at, earliest, latest = (None,) * 3 if limit is None else reach(line, limit)
    return Trend(
        line.slope, line.error, line.spread, worn[-1].unit or "", per, len(worn), limit, at,
        earliest, latest, line.last, worn[0].day,
    )  # fmt: skip


def _values(points: Sequence[Point]) -> list[float] | None:
    """The readings in the unit of the last one; ``None`` where one has no such value."""
    units = [point.unit or "" for point in points]
    if not all(units) or not all(same_kind(unit, units[-1]) for unit in set(units)):
        return None
    return [
        float(convert(Decimal(point.value), unit, units[-1]))
        for point, unit in zip(points, units, strict=True)
    ]


def since_last_set(points: Sequence[Point]) -> list[Point]:
    """The readings from the last one that was set or left on; it is the first of its wear."""
    fresh = [at for at, point in enumerate(points) if point.role in ("set", "as_left")]
    return list(points[fresh[-1] if fresh else 0 :])


def _places(points: Sequence[Point]) -> tuple[str, list[float]]:
    """By the meter where every note gave one in the same unit, else by days."""
    units = {point.meter_unit for point in points}
    if len(units) == 1 and all(point.meter is not None for point in points):
        return str(units.pop()), [float(point.meter or 0) for point in points]
    first = points[0].day
    return "day", [float((point.day - first).days) for point in points]


def _limit(point: Point, rate: float) -> float | None:
    """The limit that the readings move towards, in the unit of the readings."""
    text = point.band_low if rate < 0 else point.band_high
    if text is None or point.band_unit is None or point.unit is None:
        return None
    return float(weighed(Decimal(text), point.band_unit, point.unit))
