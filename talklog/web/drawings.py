"""Numbers -> SVG: the loudness of some seconds, and a quantity over time. Texts only, no styles:
the page's policy allows none inside it. Nothing is told by colour alone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from html import escape

INK, MUTED, PAPER, TINT = "#1d1b16", "#5a554a", "#fffdf6", "#ddd5bf"
AROUND = 1.5  # seconds shown on each side of the words
SHORTEST = 5.0  # seconds shown in all

_WAVE = (640, 72)
_PLOT = (760, 300)
_EDGE = (70, 24, 20, 40)  # left, right, top, bottom


def window_of(start: float, end: float, whole: float) -> tuple[float, float]:
    """The seconds to draw around the words at ``start`` to ``end``."""
    spare = max(AROUND, (SHORTEST - (end - start)) / 2)
    return max(0.0, start - spare), min(max(whole, end), end + spare)


def waveform(
    peaks: bytes, rate: int, *, start: float, end: float, window: tuple[float, float]
) -> str:
    """The loudness within a window, with the words at ``start`` to ``end`` framed."""
    width, height = _WAVE
    first, last = window
    scale = width / max(last - first, 0.01)
    middle = height / 2
    shown = peaks[int(first * rate) : int(last * rate)]
    top = max(max(shown, default=0), 24)
    bars = []
    for x in range(0, width, 4):
        piece = shown[int(x / scale * rate) : max(int((x + 4) / scale * rate), 1)]
        tall = max(max(piece, default=0) / top * (middle - 6), 0.5)
        bars.append(f"M{x + 2} {middle - tall:.1f}V{middle + tall:.1f}")
    left, wide = (start - first) * scale, max((end - start) * scale, 3)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'preserveAspectRatio="none"><rect width="{width}" height="{height}" fill="{PAPER}"/>'
        f'<rect x="{left:.1f}" y="1" width="{wide:.1f}" height="{height - 2}" fill="{TINT}" '
        f'stroke="{INK}" stroke-width="2"/>'
        f'<path d="{"".join(bars)}" stroke="{INK}" stroke-width="2"/></svg>'
    )


@dataclass(frozen=True, slots=True)
class Spot:
    """A reading to draw: its day, its value, whether it is out of band, what to say of it."""

    day: date
    value: float
    out: bool
    told: str


def plot(
    spots: Sequence[Spot], *, title: str, unit: str, low: float | None, high: float | None
) -> str:
    """Readings over time with the limits as lines. Filled squares are out of band."""
    width, height = _PLOT
    left, right, top, bottom = _EDGE
    days = [spot.day.toordinal() for spot in spots]
    levels = [spot.value for spot in spots] + [v for v in (low, high) if v is not None]
    least, most = _widened(min(levels), max(levels))
    begin, finish = min(days), max(max(days), min(days) + 1)

    def x(day: float) -> float:
        return left + (day - begin) / (finish - begin) * (width - left - right)

    def y(value: float) -> float:
        return height - bottom - (value - least) / (most - least) * (height - top - bottom)

    parts = [*_scale(_ticks(least, most), y, unit), *_days(begin, finish, x)]
    parts += _limits(((low, "low limit"), (high, "high limit")), y)
    line = " ".join(f"{x(d):.1f},{y(s.value):.1f}" for d, s in zip(days, spots, strict=True))
    parts.append(f'<polyline points="{line}" fill="none" stroke="{MUTED}"/>')
    parts += [_mark(spot, x(day), y(spot.value)) for day, spot in zip(days, spots, strict=True)]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f'aria-label="{escape(title)}" font-size="13" fill="{INK}" class="plot">'
        f"<title>{escape(title)}</title>{''.join(parts)}</svg>"
    )


def _widened(least: float, most: float) -> tuple[float, float]:
    spare = (most - least) * 0.12 or abs(most) * 0.1 or 1.0
    return least - spare, most + spare


def _ticks(least: float, most: float) -> list[float]:
    """Some four round values between two."""
    rough = (most - least) / 4
    power = 10.0 ** _exponent(rough)
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough)
    first = -(-least // step)
    return [(first + n) * step for n in range(int((most - first * step) / step) + 1)]


def _exponent(value: float) -> int:
    return int(f"{value:e}".partition("e")[2])


def _scale(ticks: Iterable[float], y: object, unit: str) -> Iterable[str]:
    left, right = _EDGE[0], _PLOT[0] - _EDGE[1]
    for tick in ticks:
        at = y(tick)  # type: ignore[operator]
        yield f'<path d="M{left} {at:.1f}H{right}" stroke="{TINT}"/>'
        yield f'<text x="{left - 8}" y="{at + 4:.1f}" text-anchor="end">{tick:.6g}</text>'
    yield f'<text x="{left}" y="14">{escape(unit)}</text>'


def _days(begin: int, finish: int, x: object) -> Iterable[str]:
    for day, anchor in ((begin, "start"), (finish, "end")):
        at = x(day)  # type: ignore[operator]
        name = date.fromordinal(day).isoformat()
        yield f'<text x="{at:.1f}" y="{_PLOT[1] - 12}" text-anchor="{anchor}">{name}</text>'


def _limits(limits: Iterable[tuple[float | None, str]], y: object) -> Iterable[str]:
    left, right = _EDGE[0], _PLOT[0] - _EDGE[1]
    for limit, name in limits:
        if limit is None:
            continue
        at = y(limit)  # type: ignore[operator]
        yield f'<path d="M{left} {at:.1f}H{right}" stroke="{INK}" stroke-dasharray="7 4"/>'
        yield f'<text x="{right}" y="{at - 5:.1f}" text-anchor="end">{name} {limit:.6g}</text>'


def _mark(spot: Spot, x: float, y: float) -> str:
    told = f"<title>{escape(spot.told)}</title>"
    if spot.out:
        return f'<rect x="{x - 6:.1f}" y="{y - 6:.1f}" width="12" height="12">{told}</rect>'
    ring = f'r="5" fill="{PAPER}" stroke="{INK}" stroke-width="2"'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" {ring}>{told}</circle>'
