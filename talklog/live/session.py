"""One listening session: blocks of sound in, events out. Knows no files, no screen, no microphone.

Readings are judged twice: as soon as a phrase has stood still for STILL seconds, from words that
may still change, and again when the recogniser has ended the phrase and says how sure it is. The
first time only what a band settles is told: a unit may still follow. What changes is told again,
never silently. For a long session only the last words are read anew, so the
work for each phrase does not grow.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from talklog.handsfree import find_commands, obey
from talklog.recognise import Listener
from talklog.record import Reading, ServiceRecord
from talklog.report import Line, make_sheet
from talklog.transcript import Source, Transcript, Word

STILL = 0.5  # seconds without a new word after which a phrase is judged before it has ended
WINDOW = 320  # words that are read anew at each phrase
CONTEXT = 160  # of them, words whose readings are settled and only give context
_SOURCE = Source("audio", "live", "0" * 64)
OUT = ("low", "high", "unit_mismatch")
JUDGED = ("in_band", "low", "high")


@dataclass(frozen=True, slots=True)
class Event:
    """``kind`` is words (a phrase ended), partial (words that may change), reading, changed, gone
    or command; ``level`` of a reading is "out", "ask" or "" for one that needs no look."""

    kind: str
    text: str
    level: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """A reading as it was told. ``judged``: a band says whether it is in or out."""

    text: str
    level: str
    judged: bool


class Session:
    """Feed it blocks; it yields what there is to show. ``record_of`` is the understanding."""

    def __init__(
        self, listener: Listener, record_of: Callable[[Transcript], ServiceRecord]
    ) -> None:
        self.listener, self.record_of = listener, record_of
        self.paused = self.finished = False
        self._words: list[Word] = []
        self._offset = 0  # words that are no longer read anew
        self._shown: dict[int, Told] = {}  # by first word
        self._partial, self._since, self._judged = "", 0.0, ""

    def feed(self, block: bytes) -> Iterator[Event]:
        """Take 16 kHz mono 16-bit samples."""
        words = self.listener.feed(block)
        if words:
            yield from self._ended(words)
        elif not self.paused:
            yield from self._going_on(self.listener.partial())

    def finish(self) -> Iterator[Event]:
        """What is left when the sound has ended."""
        yield from self._ended(self.listener.finish())

    def last_reading(self) -> str:
        """The reading told last, for reading back; empty if there is none."""
        return self._shown[max(self._shown)].text if self._shown else ""

    # ---- a phrase has ended ----------------------------------------------------------------------

    def _ended(self, words: tuple[Word, ...]) -> Iterator[Event]:
        self._partial = self._judged = ""
        commands = find_commands(words)
        if self.paused:
            if not any(command.name == "go_on" for command in commands):
                return
            words = ()
        if words:
            yield Event("words", " ".join(word.text for word in words))
            self._words += words
            yield from self._compared()
            self._settle()
        for command in commands:
            yield from self._obeyed(command.name)

    def _obeyed(self, name: str) -> Iterator[Event]:
        self.paused = name == "pause" or (self.paused and name != "go_on")
        self.finished = self.finished or name == "finish"
        yield Event("command", name)

    def _going_on(self, partial: str) -> Iterator[Event]:
        """Words that may still change: shown, and judged once they stand still."""
        now = self.listener.seconds
        if partial != self._partial:
            self._partial, self._since = partial, now
            yield Event("partial", partial)
        elif partial and partial != self._judged and now - self._since >= STILL:
            self._judged = partial
            tentative = [Word(text) for text in partial.split()]
            found = self._read([*self._words, *tentative])
            yield from self._new({at: told for at, told in found.items() if told.judged})

    # ---- what is new -----------------------------------------------------------------------------

    def _compared(self) -> Iterator[Event]:
        """The readings of all words that have ended, against those told before."""
        found = self._read(self._words)
        for first in sorted(set(self._shown) - set(found)):
            if first >= self._settled:
                yield Event("gone", self._shown.pop(first).text)
        for first, told in found.items():
            if first in self._shown and told != self._shown[first]:
                yield Event("changed", told.text, told.level)
        yield from self._new(found)
        self._shown |= found

    def _new(self, found: dict[int, Told]) -> Iterator[Event]:
        for first, told in found.items():
            if first not in self._shown:
                self._shown[first] = told
                yield Event("reading", told.text, told.level)

    def _read(self, words: list[Word]) -> dict[int, Told]:
        """First word -> the reading as a line, for those that are not settled."""
        heard = replace(obey(Transcript(_SOURCE, tuple(words))), source=_SOURCE)
        if not heard.words:
            return {}
        record = self.record_of(heard)
        lines = make_sheet(record).readings
        told = (_told(*pair) for pair in zip(record.readings, lines, strict=True))
        places = (reading.words[0] + self._offset for reading in record.readings)
        return {at: one for at, one in zip(places, told, strict=True) if at >= self._settled}

    @property
    def _settled(self) -> int:
        return self._offset + CONTEXT if self._offset else 0

    def _settle(self) -> None:
        """Forget the oldest words, at the beginning of a phrase."""
        if len(self._words) <= WINDOW:
            return
        signs = obey(Transcript(_SOURCE, tuple(self._words))).words
        cut = len(signs) - (WINDOW - CONTEXT)
        pauses = [at for at in range(cut, len(signs)) if signs[at].pause_before > 0]
        cut = pauses[0] if pauses else cut
        self._words, self._offset = list(signs[cut:]), self._offset + cut


def line_text(line: Line) -> str:
    """ "tyre, front left: pressure 28 psi LOW (band 30 to 34 psi)"."""
    band = f" ({line.band})" if line.band else ""
    return f"{line.what}: {line.value}  {line.verdict}{band}"


def level_of(reading: Reading) -> str:
    """Whether the mechanic must look at once."""
    if reading.verdict in OUT:
        return "out"
    return "ask" if reading.verdict == "unsure" else ""


def _told(reading: Reading, line: Line) -> Told:
    return Told(line_text(line), level_of(reading), reading.verdict in JUDGED)
