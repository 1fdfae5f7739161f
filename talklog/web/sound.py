"""A kept recording -> seconds of it as WAV, and its peaks. Decoded once, whatever its format.

The decoded samples of the last few recordings lie in a folder of this process, so that a second in
the middle of an hour is found without decoding the hour again.
"""

from __future__ import annotations

import struct
from array import array
from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from talklog.audio import RATE, open_audio, read_blocks

KEPT = 6  # decoded recordings; an hour is 115 MB
PEAKS = 100  # a second
_WIDTH = 2  # bytes of a sample
_CHUNK = 1 << 16


@dataclass(frozen=True, slots=True)
class Decoded:
    """A recording as 16 kHz mono samples in a file, and its loudness: PEAKS values a second, each
    0 to 255."""

    file: Path
    peaks: bytes

    @property
    def seconds(self) -> float:
        return len(self.peaks) / PEAKS


@dataclass(frozen=True, slots=True)
class Clip:
    """A part of a recording as a WAV file that need not be in memory."""

    file: Path
    offset: int
    length: int  # bytes of samples

    @property
    def size(self) -> int:
        return len(self._head) + self.length

    @property
    def _head(self) -> bytes:
        return wav_head(self.length)

    def part(self, first: int, last: int) -> Iterator[bytes]:
        """Bytes ``first`` to ``last`` (both inclusive) of the WAV file."""
        head = self._head
        if first < len(head):
            yield head[first : last + 1]
        start = max(first - len(head), 0)
        left = last - len(head) + 1 - start
        with self.file.open("rb") as stream:
            stream.seek(self.offset + start)
            while left > 0 and (chunk := stream.read(min(left, _CHUNK))):
                left -= len(chunk)
                yield chunk


class SoundStore:
    """Decodes each recording once. ``folder`` must be empty and is this store's alone."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._known: OrderedDict[str, Decoded] = OrderedDict()
        self._lock = Lock()

    def decoded(self, path: Path, sha256: str) -> Decoded:
        """The samples of a recording. Raises AudioError when it cannot be read to its end."""
        with self._lock:
            if sha256 not in self._known:
                self._known[sha256] = self._decode(path, sha256)
            self._known.move_to_end(sha256)
            if len(self._known) > KEPT:
                _, old = self._known.popitem(last=False)
                old.file.unlink(missing_ok=True)
            return self._known[sha256]

    def _decode(self, path: Path, sha256: str) -> Decoded:
        file = self.folder / f"{len(self._known)}-{sha256[:16]}.pcm"
        peaks = bytearray()
        try:
            with file.open("wb") as out:
                for block in read_blocks(open_audio(path)):
                    peaks += _peaks(block)
                    out.write(block)
        except BaseException:
            file.unlink(missing_ok=True)
            raise
        return Decoded(file, bytes(peaks))


def clip_of(decoded: Decoded, start: float, end: float) -> Clip:
    """Seconds ``start`` to ``end``, kept within the recording."""
    whole = decoded.file.stat().st_size // _WIDTH
    first = min(max(round(start * RATE), 0), whole)
    last = min(max(round(end * RATE), first), whole)
    return Clip(decoded.file, first * _WIDTH, (last - first) * _WIDTH)


def wav_head(length: int) -> bytes:
    """The 44 bytes before ``length`` bytes of 16 kHz mono 16-bit samples (RIFF WAVE, format 1)."""
    form = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, RATE, RATE * _WIDTH, _WIDTH, 8 * _WIDTH)
    riff = struct.pack("<4sI4s", b"RIFF", min(36 + length, 0xFFFFFFFF), b"WAVE")
    return riff + form + struct.pack("<4sI", b"data", min(length, 0xFFFFFFFF))


def _peaks(block: bytes) -> bytes:
    samples = array("h", block)
    step = RATE // PEAKS
    pieces = (samples[at : at + step] for at in range(0, len(samples), step))
    return bytes(min(max(max(piece), -min(piece)) >> 7, 255) for piece in pieces)
