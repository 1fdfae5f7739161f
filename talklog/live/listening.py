"""Sound -> a growing recording, a session and alerts, until it ends or somebody says so."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from talklog.audio import RATE
from talklog.live.alerts import Alerts
from talklog.live.growing import GrowingRecording
from talklog.live.session import Event, Session

GAP = bytes(2 * RATE)  # a second of silence where listening goes on: nothing runs on across it
HELD_SECONDS = 60  # of a pause that are kept in memory for the phrase that ends it
LEAD = 0.3  # seconds before that phrase which are written with it


@dataclass
class Listening:
    """Everything that one session of listening works with."""

    session: Session
    recording: GrowingRecording
    alerts: Alerts
    show: Callable[[Event], None]
    _deaf: float = field(default=0.0, init=False)  # seconds for which talklog hears itself
    _held: deque[bytes] = field(default_factory=deque, init=False)  # the end of a pause

    def run(self, blocks: Iterable[bytes]) -> None:
        """Listen until the sound ends or the session is finished by voice.

        The recording is closed however this ends. While paused nothing is written until the words
        that go on, which are, with all that is said in one breath with them. While talklog itself
        speaks silence is written, so that its own words never stand in a record.
        """
        try:
            for block in blocks:
                self._take(self._without_own_voice(block))
                if self.session.finished:
                    return
        finally:
            self._tell(self.session.finish())
            self.recording.close()

    def _take(self, block: bytes) -> None:
        before = self.session.paused
        if before:
            self._hold(block)
        else:
            self.recording.write(block)
        self._tell(self.session.feed(block))
        if before and not self.session.paused:
            self._write_held()

    def _hold(self, block: bytes) -> None:
        self._held.append(block)
        while sum(map(len, self._held)) > 2 * RATE * HELD_SECONDS:
            self._held.popleft()

    def _write_held(self) -> None:
        """The sound from the words on that ended the pause."""
        sound = b"".join(self._held)
        self._held.clear()
        wanted = self.session.listener.seconds - self.session.resumed + LEAD
        if self.recording.seconds:
            self.recording.write(GAP)
        self.recording.write(sound[-2 * int(wanted * RATE) :])

    def _without_own_voice(self, block: bytes) -> bytes:
        if self._deaf <= 0 and not self.alerts.busy():
            return block
        self._deaf -= len(block) / 2 / RATE
        return bytes(len(block))

    def _tell(self, events: Iterable[Event]) -> None:
        for event in events:
            self.show(event)
            if event.kind in ("reading", "changed"):
                self._deaf_for(self.alerts.sound(event.level, event.text))
            if event == Event("command", "read_back"):
                text = self.session.last_reading()
                self.show(Event("read back", text))
                self._deaf_for(self.alerts.speak(text))

    def _deaf_for(self, seconds: float) -> None:
        if self.alerts.say is not None:
            self._deaf = max(self._deaf, 0.0) + seconds
