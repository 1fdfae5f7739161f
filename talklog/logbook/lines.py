"""A straight line through points, and where it meets a limit, each with its uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

FEWEST = 3  # points from which a line has an uncertainty
# How many standard errors hold 95 % of cases, by points less two: Student's t, both sides
# (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2; checked against scipy). For more
# than thirty the last one is used, which is a little too wide.
_T95 = (
    12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228,
    2.201, 2.179, 2.160, 2.145, 2.131, 2.120, 2.110, 2.101, 2.093, 2.086,
    2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """The line of least squares: ``slope`` with its standard ``error``, through (``middle``,
    ``level``), of ``count`` points. ``last`` is the greatest place of a point."""

    slope: float
    error: float
    middle: float
    level: float
    count: int
    last: float
    noise: float  # variance of a point about the line

    @property
    def times(self) -> float:
        """Standard errors on each side that hold 95 % of cases."""
        return _T95[min(self.count - 2, len(_T95)) - 1]

    @property
    def spread(self) -> float:
        """The slope is within so much of ``slope`` in 95 % of cases, were all errors chance."""
        return self.times * self.error

    def value(self, place: float) -> float:
        """The height of the line."""
        return self.level + self.slope * (place - self.middle)


def line_through(places: Sequence[float], values: Sequence[float]) -> Line | None:
    """The line of least squares; ``None`` for fewer than FEWEST points or all at one place."""
    count = len(places)
    middle = sum(places) / count if count else 0.0
    width = sum((x - middle) ** 2 for x in places)
    if count < FEWEST or width <= 0:
        return None
    level = sum(values) / count
    pairs = list(zip(places, values, strict=True))
    slope = sum((x - middle) * (y - level) for x, y in pairs) / width
    rest = sum((y - level - slope * (x - middle)) ** 2 for x, y in pairs)
    noise = rest / (count - 2)
    return Line(slope, (noise / width) ** 0.5, middle, level, count, max(places), noise)


def reach(line: Line, limit: float) -> tuple[float | None, float | None, float | None]:
    """Where the line meets a limit: most likely, at the earliest and at the latest.

    Earliest and latest are the ends of the 95 % interval of Fieller's theorem (1954): the places
    at which the limit lies on the edge of what the line may be. The latest is ``None`` where the
    points do not rule out that it never gets there; the earliest is then not before the last point.
    """
    if line.slope == 0:
        return None, None, None
    at = line.middle + (limit - line.level) / line.slope
    square = line.slope**2 - line.spread**2
    gap, scatter = line.level - limit, line.times**2 * line.noise / line.count
    # square d² + 2 slope gap d + gap² - scatter = 0, for d from the middle; a quarter of its
    # discriminant, in a form that loses no digits where the line is exact:
    under = (line.spread * gap) ** 2 + square * scatter
    if square == 0 or under < 0:
        return at, min(at, line.last), None
    ends = [(-line.slope * gap + sign * under**0.5) / square for sign in (-1, 1)]
    places = sorted(line.middle + end for end in ends)
    if square < 0:  # all but what lies between the ends
        ahead = places[1] if at > line.middle else line.last
        return at, min(at, max(ahead, line.last)), None
    return at, min(at, max(places[0], line.last)), places[1]
