"""The seconds with numbers, heard once more -> what else they may have been.

Each stretch of words with a number is cut out with some words around it and given to the
recogniser again, as it is and a little slower, asking for several ways of hearing it. A number that
stays the same is surer than one that changes. Knows no units: which words are a number is enough.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Protocol, runtime_checkable

from talklog.audio import RATE
from talklog.numbers import find_numbers
from talklog.transcript import Rehearing, Way, Word

if TYPE_CHECKING:
    import numpy as np

# How often faster than it was spoken. More changes (faster, noise added) made the development
# figures no better and cost time.
SPEEDS = {"plain": 1.0, "slow": 0.92}
UNIT_WORDS = 3  # behind a number, where its unit may stand
MOST_WORDS = 14  # of a stretch that goes on from one number to the next
BEFORE, BEHIND = 2, 1  # words around a stretch that are heard with it
MARGINS = (0.2, 0.25)  # seconds of sound before the first and behind the last of them
EDGE = 0.05  # seconds: a word may begin a frame earlier when heard again


@runtime_checkable
class Rehearer(Protocol):
    """An engine that can tell several ways in which a short piece of sound may be heard."""

    def ways(self, block: bytes) -> tuple[Way, ...]:
        """From 16 kHz mono 16-bit samples; times count from their first. Likeliest way first."""
        ...


def hear_again(
    words: Sequence[Word], blocks: Iterable[bytes], engine: Rehearer
) -> tuple[Rehearing, ...]:
    """Every stretch of words with a number, heard once a speed. ``blocks`` is the whole sound."""
    spans = stretches(words)
    found: list[Rehearing] = []
    for (first, last), (start, sound) in zip(spans, cut(words, spans, blocks), strict=True):
        begun, ended = words[first].start - EDGE, words[last].end + EDGE
        for how, speed in SPEEDS.items():
            ways = engine.ways(_at_speed(sound, speed))
            moved = tuple(_moved(way, start, speed) for way in ways)
            found.append(Rehearing(how, begun, ended, moved or (Way(1.0, ()),)))
    return tuple(found)


def stretches(words: Sequence[Word]) -> tuple[tuple[int, int], ...]:
    """First and last word of each number with the words behind it that may be its unit; numbers
    close together share one."""
    found: list[tuple[int, int]] = []
    for run in find_numbers(words):
        first, last = run.first, min(run.last + UNIT_WORDS, len(words) - 1)
        if found and first <= found[-1][1] + 1 and last - found[-1][0] < MOST_WORDS:
            found[-1] = (found[-1][0], last)
        else:
            found.append((first, last))
    return tuple(found)


def cut(
    words: Sequence[Word], spans: Sequence[tuple[int, int]], blocks: Iterable[bytes]
) -> list[tuple[float, np.ndarray]]:
    """(second at which it starts, samples) of each span. Reads the sound once, keeps only them."""
    import numpy as np

    limits = [_limits(words, *span) for span in spans]
    parts: list[list[bytes]] = [[] for _ in limits]
    at, begin = 0, 0
    for block in blocks if limits else ():
        end = at + len(block) // 2
        while begin < len(limits) and limits[begin][1] <= at:
            begin += 1
        for place in range(begin, len(limits)):
            start, stop = limits[place]
            if start >= end:
                break
            parts[place].append(block[2 * max(0, start - at) : 2 * max(0, stop - at)])
        at = end
    sounds = (np.frombuffer(b"".join(part), "<i2").astype(np.float32) for part in parts)
    return [(start / RATE, sound) for (start, _), sound in zip(limits, sounds, strict=True)]


def _limits(words: Sequence[Word], first: int, last: int) -> tuple[int, int]:
    begin = words[max(0, first - BEFORE)].start - MARGINS[0]
    end = words[min(len(words) - 1, last + BEHIND)].end + MARGINS[1]
    return max(0, int(begin * RATE)), int(end * RATE)


def _at_speed(sound: np.ndarray, speed: float) -> bytes:
    import numpy as np

    if speed != 1.0:
        places = np.arange(int(len(sound) / speed)) * speed
        sound = np.interp(places, np.arange(len(sound)), sound)
    return sound.round().clip(-32_768, 32_767).astype("<i2").tobytes()


def _moved(way: Way, start: float, speed: float) -> Way:
    """A way with its times on the axis of the recording."""
    return Way(way.share, tuple((t, start + a * speed, start + b * speed) for t, a, b in way.words))
