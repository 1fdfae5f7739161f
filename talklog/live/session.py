"""One listening session: blocks of sound in, events out. Knows no files, no screen, no microphone.

Readings are judged when a phrase has stood still for STILL seconds, from words that may still
change: then only what a band settles is told, for a unit may still follow. After LONG_STILL seconds
everything is, and again when the recogniser has ended the phrase and says how sure it is. What
changes is told again, never silently, and so is what the record at the end has otherwise. For a
long session only the last words are read anew, so the work for each phrase does not grow.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, repeat

from talklog.audio import RATE
from talklog.handsfree import find_commands, obey
from talklog.numbers import find_numbers
from talklog.recognise import Listener
from talklog.record import Reading, ServiceRecord
from talklog.report import Line, make_sheet
from talklog.transcript import Rehearing, Source, Transcript, Word

# Seconds without a new word after which a phrase is judged before it has ended. A word itself comes
# 0.3 to 0.6 s after it was said (measured on the samples), so that all is told within 1.5 s.
STILL, LONG_STILL = 0.5, 0.7
BREAK = 0.8  # seconds of silence, at the least, where the recogniser ends a phrase
KEPT_SECONDS = 40  # of sound; a phrase ends after 20 s at the latest, with what was said by then
WINDOW = 320  # words that are read anew at each phrase
CONTEXT = 160  # of them, words whose readings are settled and only give context
_SOURCE = Source("audio", "live", "0" * 64)
OUT = ("low", "high", "unit_mismatch")
JUDGED = ("in_band", "low", "high")


@dataclass(frozen=True, slots=True)
class Event:
    """``kind`` is words (a phrase ended), partial (words that may change), reading, changed, gone
    or command; "not recorded" and "only recorded" for readings that the record at the end lacks or
    has more; ``level`` of a reading is "out", "ask" or "" for one that needs no look."""

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
        self,
        listener: Listener,
        record_of: Callable[[Transcript], ServiceRecord],
        *,
        hear_again: Callable[[Sequence[Word], Iterable[bytes]], tuple[Rehearing, ...]]
        | None = None,
        paused: bool = False,
    ) -> None:
        """The first understanding loads what is needed, so that the first phrase does not wait.

        ``hear_again`` gives other hearings of words, of the sound from second 0 on; without it the
        record at the end is surer of its numbers than what is told here.
        """
        self.listener, self.record_of, self.hear_again = listener, record_of, hear_again
        self.record_of(Transcript(_SOURCE, (Word("one"), Word("thou"))))
        self.paused, self.finished = paused, False
        self.resumed = 0.0  # second at which the words that went on were begun
        self._words: list[Word] = []
        self._again: list[Rehearing] = []  # of these words
        self._sound: deque[bytes] = deque()  # of the last seconds
        self._offset = 0  # words that are no longer read anew
        self._shown: dict[int, Told] = {}  # by first word
        self._partial, self._since, self._judged = "", 0.0, ("", False)

    def feed(self, block: bytes) -> Iterator[Event]:
        """Take 16 kHz mono 16-bit samples."""
        self._keep(block)
        words = self.listener.feed(block)
        if words:
            yield from self._ended(words)
        elif not self.paused:
            yield from self._going_on(self.listener.partial())

    def finish(self) -> Iterator[Event]:
        """What is left when the sound has ended."""
        yield from self._ended(self.listener.finish())

    def against(self, record: ServiceRecord) -> Iterator[Event]:
        """Where the record that was made of the whole sound is not what was told."""
        shown = Counter(self._shown.values())
        made = Counter(_all_told(record))
        for told in (shown - made).elements():
            yield Event("not recorded", told.text)
        for told in (made - shown).elements():
            yield Event("only recorded", told.text, told.level)

    def last_reading(self) -> str:
        """The reading told last, for reading back; empty if there is none."""
        return self._shown[max(self._shown)].text if self._shown else ""

    # ---- a phrase has ended ----------------------------------------------------------------------

    def _ended(self, words: tuple[Word, ...]) -> Iterator[Event]:
        self._partial, self._judged = "", ("", False)
        words = self._waking(words) if self.paused else words
        if not words:
            return
        before = len(self._shown)
        self._words += words
        self._again += self._heard_again(words)
        yield Event("words", " ".join(word.text for word in words))
        yield from self._compared()
        self._settle()
        for command in find_commands(words):
            name = command.name
            yield from self._obeyed("no drop" if name == "drop" and not before else name)

    def _keep(self, block: bytes) -> None:
        """The sound of a phrase, for hearing its numbers again."""
        self._sound.append(block)
        if len(self._sound) * len(block) > 2 * RATE * KEPT_SECONDS:
            self._sound.popleft()

    def _heard_again(self, words: tuple[Word, ...]) -> tuple[Rehearing, ...]:
        if self.hear_again is None or not find_numbers(words):
            return ()
        missing = round(self.listener.seconds * RATE) - sum(map(len, self._sound)) // 2
        whole, rest = divmod(max(0, missing), RATE)
        before = chain(repeat(bytes(2 * RATE), whole), (bytes(2 * rest),))  # never looked at
        return self.hear_again(words, chain(before, self._sound))

    def _waking(self, words: tuple[Word, ...]) -> tuple[Word, ...]:
        """Of what is said in a pause, the words from a command on that ends it."""
        ending = (c for c in find_commands(words) if c.name in ("go_on", "finish"))
        first = next((command.first for command in ending), len(words))
        if first < len(words):
            self.resumed = words[first].start or 0.0
        return words[first:]

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
        elif partial and now - self._since >= STILL:
            long = now - self._since >= LONG_STILL
            if self._judged not in ((partial, True), (partial, long)):
                self._judged = (partial, long)
                yield from self._judge_early(partial, everything=long)

    def _judge_early(self, partial: str, *, everything: bool) -> Iterator[Event]:
        first, *others = partial.split()
        tentative = [Word(first, pause_before=BREAK), *map(Word, others)]
        found = self._read([*self._words, *tentative])
        found = {at: told for at, told in found.items() if everything or told.judged}
        begun = self._offset + len(self._words)
        for at in sorted(at for at in found if at >= begun and at in self._shown):
            if found[at] != self._shown[at]:  # "five point five", and then the unit
                self._shown[at] = found[at]
                yield Event("changed", found[at].text, found[at].level)
        yield from self._new(found)

    # ---- what is new -----------------------------------------------------------------------------

    def _compared(self) -> Iterator[Event]:
        """The readings of all words that have ended, against those told before."""
        found = self._read(self._words)
        self._move(found)
        for first in sorted(set(self._shown) - set(found)):
            if first >= self._settled:
                yield Event("gone", self._shown.pop(first).text)
        for first, told in found.items():
            if first in self._shown and told != self._shown[first]:
                yield Event("changed", told.text, told.level)
        yield from self._new(found)
        self._shown |= found

    def _move(self, found: dict[int, Told]) -> None:
        """A reading told early may stand some words further on in the phrase as it ended."""
        new = {told.text.split("  ")[0]: at for at, told in found.items() if at not in self._shown}
        for first in [at for at in self._shown if at not in found and at >= self._settled]:
            at = new.pop(self._shown[first].text.split("  ")[0], None)
            if at is not None:
                self._shown[at] = self._shown.pop(first)

    def _new(self, found: dict[int, Told]) -> Iterator[Event]:
        for first, told in found.items():
            if first not in self._shown:
                self._shown[first] = told
                yield Event("reading", told.text, told.level)

    def _read(self, words: list[Word]) -> dict[int, Told]:
        """First word -> the reading as a line, for those that are not settled."""
        if not words:
            return {}
        record = self.record_of(Transcript(_SOURCE, tuple(words), tuple(self._again)))
        places = (reading.words[0] + self._offset for reading in record.readings)
        told = zip(places, _all_told(record), strict=True)
        return {at: one for at, one in told if at >= self._settled}

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
        begun = self._words[0].start or 0.0
        self._again = [hearing for hearing in self._again if hearing.end > begun]


def line_text(line: Line) -> str:
    """ "tyre, front left: pressure 28 psi LOW (band 30 to 34 psi)"."""
    band = f" ({line.band})" if line.band else ""
    return f"{line.about}: {line.value}  {line.verdict}{band}"


def level_of(reading: Reading) -> str:
    """Whether the mechanic must look at once."""
    if reading.verdict in OUT:
        return "out"
    return "ask" if reading.verdict == "unsure" else ""


def _all_told(record: ServiceRecord) -> list[Told]:
    lines = make_sheet(record).readings
    return [_told(*pair) for pair in zip(record.readings, lines, strict=True)]


def _told(reading: Reading, line: Line) -> Told:
    return Told(line_text(line), level_of(reading), reading.verdict in JUDGED)
