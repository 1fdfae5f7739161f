"""A recording that grows on the disk while it is made, so that a power cut loses a second at most.

A WAV file of 16 kHz, mono, 16 bit. Until it is closed its header says "length not known" in the way
that recorders do (all bits of the size set), which ``audio`` reads up to where the sound ends.
"""

from __future__ import annotations

import os
import struct
from pathlib import Path

from talklog.audio import RATE
from talklog.errors import AudioError

OPEN_ENDED = 0xFFFF_FFFF
SYNC_SECONDS = 0.5  # of sound between two moments at which all is surely on the disk
_SAMPLE_BYTES = 2
_HEADER = struct.Struct("<4sI4s4sIHHIIHH4sI")  # RIFF, WAVE, fmt, data: Microsoft's layout of PCM


class GrowingRecording:
    """Write blocks of 16-bit samples, then close. Raises AudioError when the disk will not."""

    def __init__(self, path: Path) -> None:
        """Start a new file; one that is there already is never touched."""
        self.path = path
        self._bytes = self._synced = 0
        with _told(path):
            path.parent.mkdir(parents=True, exist_ok=True)
            self._file = path.open("xb")
            self._file.write(_header(OPEN_ENDED - _HEADER.size))
            self._sync()

    @property
    def seconds(self) -> float:
        """Seconds of sound written so far."""
        return self._bytes / _SAMPLE_BYTES / RATE

    def write(self, block: bytes) -> None:
        """Add samples."""
        with _told(self.path):
            self._file.write(block)
            self._bytes += len(block)
            if self._bytes - self._synced >= SYNC_SECONDS * RATE * _SAMPLE_BYTES:
                self._sync()

    def close(self) -> None:
        """Write the true length into the header and close; a file without sound is removed."""
        with _told(self.path):
            if not self._bytes:
                self._file.close()
                self.path.unlink()
                return
            self._sync()  # the sound before the length that it is said to have
            self._file.seek(0)
            self._file.write(_header(self._bytes))
            self._sync()
            self._file.close()

    def _sync(self) -> None:
        self._file.flush()
        os.fsync(self._file.fileno())
        self._synced = self._bytes


def _header(sound_bytes: int) -> bytes:
    size = min(OPEN_ENDED, sound_bytes + _HEADER.size - 8)
    rate = RATE * _SAMPLE_BYTES
    layout = (16, 1, 1, RATE, rate, _SAMPLE_BYTES, 8 * _SAMPLE_BYTES)
    return _HEADER.pack(
        b"RIFF", size, b"WAVE", b"fmt ", *layout, b"data", min(OPEN_ENDED, sound_bytes)
    )


class _told:
    """Errors of the disk in our words."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: type | None, error: BaseException | None, _trace: object) -> None:
        if isinstance(error, FileExistsError):
            raise AudioError(f"{self.path}: is there already; give another name") from error
        if isinstance(error, OSError):
            raise AudioError(
                f"{self.path}: the sound cannot be written ({error.strerror}); what was said up to "
                f"now is in the file. Make room, then: talklog take {self.path}"
            ) from error
