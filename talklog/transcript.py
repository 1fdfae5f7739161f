"""What was said: words on one time axis. Every later step points back into this.

Word indices are the address system of talklog: a span ``first..last`` (both inclusive) of word
indices says where a value came from, and through ``start`` and ``end`` which seconds to play.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Word:
    """One word as heard or typed.

    ``text`` is lower case ("twelve", "thou"); typed text keeps its digits ("0.25", "m8").
    ``start`` and ``end`` are seconds from the beginning of the recording, ``None`` for typed text.
    ``confidence`` is the recogniser's own 0..1 (not a probability of being right), or ``None``.
    ``pause_before`` is seconds of silence before the word; for typed text a comma or colon counts
    as 0.3, a full stop, semicolon or question mark as 0.8 and a new line as 1.2.
    ``written`` is the piece as typed where that differs from ``text`` ("Nm" for "nm", "1,200" for
    "1200", "-" for the "to" of "10-12"); ``None`` otherwise and for speech. Case-sensitive unit
    symbols ("mV", "MV") compare with ``word.written or word.text``.
    """

    text: str
    start: float | None = None
    end: float | None = None
    confidence: float | None = None
    pause_before: float = 0.0
    written: str | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """Where the words came from. ``seconds``, ``engine`` and ``model`` are ``None`` for text."""

    kind: str  # "audio" or "text"
    name: str  # file name without folders, or "-" for standard input
    sha256: str
    seconds: float | None = None
    engine: str | None = None
    model: str | None = None


@dataclass(frozen=True, slots=True)
class Way:
    """One way in which a stretch of sound may be heard; ``share`` is its part (0..1) of them all.

    ``words`` is (text, start, end) in seconds of the recording.
    """

    share: float
    words: tuple[tuple[str, float, float], ...]


SECOND = "second"


@dataclass(frozen=True, slots=True)
class Rehearing:
    """A stretch of the recording heard once more, the likeliest way first. ``how`` is the speed at
    which it was played ("plain", "slow"), or SECOND for another recogniser, whose words have no
    times of their own."""

    how: str
    start: float
    end: float
    ways: tuple[Way, ...]


@dataclass(frozen=True, slots=True)
class Transcript:
    """Words in the order they were said, and their source. ``again`` holds other hearings of the
    seconds with numbers; it says how sure a number is and never changes a word."""

    source: Source
    words: tuple[Word, ...]
    again: tuple[Rehearing, ...] = ()

    def heard(self, first: int, last: int) -> str:
        """The words of an inclusive span, joined by spaces."""
        return " ".join(word.text for word in self.words[first : last + 1])
