"""Where live sound comes from: a microphone, or a file at the speed at which it was spoken."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from talklog.audio import RATE, open_audio, read_blocks
from talklog.errors import AudioError

BLOCK_SECONDS = 0.1  # of sound in a block: what a verdict waits for at most
_BLOCK_BYTES = int(BLOCK_SECONDS * RATE) * 2
PATIENCE = 2.0  # seconds without sound after which a microphone counts as gone
EXTRA = "pip install 'talklog[microphone]'"


def from_file(
    path: Path, *, speed: float = 1.0, sleep: Callable[[float], None] = time.sleep
) -> Iterator[bytes]:
    """The blocks of a recording, each when it would have been spoken; ``speed`` 2 is twice as fast.

    Raises AudioError for a recording that cannot be read.
    """
    started, sent = time.monotonic(), 0
    for block in _small(read_blocks(open_audio(path))):
        sent += len(block)
        ahead = sent / 2 / RATE / speed - (time.monotonic() - started)
        if ahead > 0:
            sleep(ahead)
        yield block


def _small(blocks: Iterator[bytes]) -> Iterator[bytes]:
    left = b""
    for block in blocks:
        left += block
        while len(left) >= _BLOCK_BYTES:
            yield left[:_BLOCK_BYTES]
            left = left[_BLOCK_BYTES:]
    if left:
        yield left


def from_microphone(*, device: str | None = None) -> Iterator[bytes]:
    """The blocks of a microphone until the caller stops. ``device`` is a part of its name.

    Raises AudioError when there is no microphone, or when it goes away.
    """
    sounddevice = _sounddevice()
    waiting: queue.Queue[bytes] = queue.Queue()  # as long as it must: sound is never dropped

    def take(data: Any, _frames: int, _time: Any, _status: Any) -> None:
        waiting.put_nowait(bytes(data))

    settings = {"samplerate": RATE, "channels": 1, "dtype": "int16", "device": device}
    try:
        with sounddevice.RawInputStream(
            blocksize=_BLOCK_BYTES // 2, callback=take, **settings
        ) as stream:
            while True:
                yield _next(waiting, stream)
    except (sounddevice.PortAudioError, ValueError) as error:
        raise AudioError(
            f"the microphone cannot be used ({error}). Plug one in, choose another with --device, "
            "or listen to a file with --from-file."
        ) from error


def _next(waiting: queue.Queue[bytes], stream: Any) -> bytes:
    try:
        return waiting.get(timeout=PATIENCE)
    except queue.Empty:
        state = "was unplugged" if not stream.active else "gives no sound"
        raise AudioError(
            f"the microphone {state}; what was said up to now is in the recording"
        ) from None


def _sounddevice() -> Any:
    try:
        import sounddevice
    except (ImportError, OSError) as error:  # OSError: PortAudio is missing
        raise AudioError(
            f"listening to a microphone needs sounddevice and PortAudio ({error}): {EXTRA}. "
            "A recording can be listened to with --from-file."
        ) from error
    return sounddevice
