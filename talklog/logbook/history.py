"""Readings of a machine over time, how fast a thing wears, and when it would reach its limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from talklog.logbook.store import Logbook

FEWEST = 3  # readings from which a line can be laid with an uncertainty
SPREAD = 2.0  # standard errors on each side: about 95 % of cases, were all errors chance
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
    with its standard ``error``. ``limit`` is the limit it moves towards, reached at ``at``, and
    with the uncertainty of the rate between ``earliest`` and ``latest`` (``None``: never).
    Places are meters, or days counted from the first reading."""

    rate: float
    error: float
    unit: str
    per: str
    readings: int
    limit: float | None
    at: float | None
    earliest: float | None
    latest: float | None
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
    key = book.machine(machine).machine.key
    wanted = {"component": component, "quantity": quantity, "position": position}
    asked = {name: text for name, text in wanted.items() if text is not None}
    more = "".join(f" AND r.{name} = ?" for name in asked)
    with book.database.reading() as connection:
        found = connection.execute(_POINTS.format(more=more), (key, *asked.values()))
        return [Point(*row) for row in found]


def replaced(book: Logbook, machine: str) -> list[Replaced]:
    """What was fitted to a machine and when, the oldest first."""
    key = book.machine(machine).machine.key
    with book.database.reading() as connection:
        rows = connection.execute(_PARTS, (key,))
        return [Replaced(row[0], row[1], row[2], row[3]) for row in rows]


def groups(points: Sequence[Point]) -> dict[tuple[str, str, str], list[Point]]:
    """Points by (component, position, quantity): only these can be laid on one line."""
    found: dict[tuple[str, str, str], list[Point]] = {}
    for point in points:
        key = (point.component, point.position or "", point.quantity)
        found.setdefault(key, []).append(point)
    return found


def trend(points: Sequence[Point]) -> Trend | None:
    """The line through readings of one thing; ``None`` for fewer than FEWEST, for readings whose
    units differ, or for readings all at one time.

    Values that a person left or set begin a new wear; so does only what follows the last of them.
    """
    worn = since_last_set(points)
    units = {point.unit for point in worn}
    if len(worn) < FEWEST or len(units) != 1 or None in units:
        return None
    per, places = _places(worn)
    line = _least_squares(places, [float(point.value) for point in worn])
    if line is None:
        return None
    rate, error, level = line
    limit = _limit(worn[-1], rate)
    reach = _reached(places[-1], level, rate, error, limit)
    return Trend(rate, error, worn[-1].unit or "", per, len(worn), limit, *reach, worn[0].day)


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


def _least_squares(
    places: Sequence[float], values: Sequence[float]
) -> tuple[float, float, float] | None:
    """(slope, its standard error, value at the last place) of the line of least squares."""
    count = len(places)
    mean, middle = sum(places) / count, sum(values) / count
    spread = sum((x - mean) ** 2 for x in places)
    if spread <= 0:
        return None
    pairs = list(zip(places, values, strict=True))
    slope = sum((x - mean) * (y - middle) for x, y in pairs) / spread
    rest = sum((y - middle - slope * (x - mean)) ** 2 for x, y in pairs)
    error = (rest / (count - 2) / spread) ** 0.5
    return slope, error, middle + slope * (places[-1] - mean)


def _limit(point: Point, rate: float) -> float | None:
    """The limit that the readings move towards, where it is in the unit of the readings."""
    text = point.band_low if rate < 0 else point.band_high
    return float(text) if text is not None and point.band_unit == point.unit else None


def _reached(
    last: float, level: float, rate: float, error: float, limit: float | None
) -> tuple[float | None, float | None, float | None]:
    """Where the line meets the limit: most likely, at the earliest and at the latest."""
    if limit is None:
        return None, None, None
    slow, fast = sorted((rate - SPREAD * error, rate + SPREAD * error), key=abs)
    slow = slow if slow * rate > 0 and abs(rate) > SPREAD * error else 0.0
    met = [last + (limit - level) / one if one else None for one in (rate, fast, slow)]
    return met[0], met[1], met[2]
