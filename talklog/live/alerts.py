"""What is heard of a verdict: a tone of our own for each kind, and the words if a voice is there.

Out of band: three falling steps. To ask about: two equal ones, apart. Nothing for what is well.
While talklog speaks or sounds, the microphone hears it too: ``until`` says for how long.
"""

from __future__ import annotations

import math
import shutil
import struct
import subprocess
from collections.abc import Callable

TONE_RATE = 16_000
VOLUME = 0.3  # of full scale
FADE = 0.008  # seconds at both ends of a step, so that it does not click
# (frequency in Hz, seconds); 0 Hz is silence. Low enough for ears that have worked beside engines.
TONES = {
    "out": ((988, 0.12), (784, 0.12), (587, 0.22)),
    "ask": ((659, 0.10), (0, 0.12), (659, 0.10)),
}
VOICES = ("espeak-ng", "espeak")
WORDS_A_SECOND = 2.5  # of a synthetic voice, for how long it speaks


def tone(level: str) -> bytes:
    """The tone of a level as 16-bit samples at TONE_RATE; empty for a level without one."""
    return b"".join(_step(frequency, seconds) for frequency, seconds in TONES.get(level, ()))


def _step(frequency: float, seconds: float) -> bytes:
    count = int(seconds * TONE_RATE)
    fade = FADE * TONE_RATE
    samples = (
        VOLUME
        * min(1.0, at / fade, (count - at) / fade)
        * math.sin(2 * math.pi * frequency * at / TONE_RATE)
        for at in range(count)
    )
    return struct.pack(f"<{count}h", *(int(32767 * sample) for sample in samples))


def seconds_of(level: str) -> float:
    """How long the tone of a level sounds."""
    return sum(seconds for _, seconds in TONES.get(level, ()))


class Alerts:
    """Sounds tones through ``play`` and says words through ``say``; either may be missing.

    ``busy`` says whether the voice is speaking still.
    """

    def __init__(
        self,
        *,
        play: Callable[[bytes], None] | None,
        say: Callable[[str], None] | None,
        busy: Callable[[], bool] = lambda: False,
    ) -> None:
        self.play, self.say, self.busy = play, say, busy

    def sound(self, level: str, text: str) -> float:
        """Alert to a reading. Returns for how many seconds the microphone hears talklog itself."""
        busy = 0.0
        if self.play and level in TONES:
            self.play(tone(level))
            busy += seconds_of(level)
        if self.say and level in TONES:
            busy += self.speak(text)
        return busy

    def speak(self, text: str) -> float:
        """Say a text, if there is a voice. Returns the seconds that it takes."""
        if not self.say:
            return 0.0
        self.say(text)
        return len(text.split()) / WORDS_A_SECOND


def player() -> Callable[[bytes], None] | None:
    """Plays samples without waiting; ``None`` where there is no way to."""
    try:
        import sounddevice
    except (ImportError, OSError):
        return None

    def play(samples: bytes) -> None:
        import numpy as np

        try:
            sounddevice.play(np.frombuffer(samples, dtype=np.int16), TONE_RATE)
        except sounddevice.PortAudioError:
            return  # no loudspeaker: the line on the screen still says it

    return play


class Voice:
    """Says texts one after the other without making anybody wait."""

    def __init__(self, program: str) -> None:
        self._program = program
        self._waiting: list[str] = []
        self._speaking: subprocess.Popen[bytes] | None = None

    def __call__(self, text: str) -> None:
        self._waiting.append(text)
        self.busy()

    def busy(self) -> bool:
        """Whether it is speaking; begins the next text when one is done."""
        if self._speaking is not None and self._speaking.poll() is None:
            return True
        self._speaking = self._spoken(self._waiting.pop(0)) if self._waiting else None
        return self._speaking is not None

    def _spoken(self, text: str) -> subprocess.Popen[bytes] | None:
        command = [self._program, "--", text]
        quiet = subprocess.DEVNULL
        try:
            return subprocess.Popen(command, stdin=quiet, stdout=quiet, stderr=quiet)
        except OSError:
            return None  # the line on the screen still says it


def voice() -> Voice | None:
    """The first synthesiser that is installed."""
    program = next((path for name in VOICES if (path := shutil.which(name))), None)
    return Voice(program) if program else None
