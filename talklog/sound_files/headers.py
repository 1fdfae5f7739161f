"""What libsndfile does not see in a file: a length that was left open, pages that are missing."""

from __future__ import annotations

import io
import os
import struct
from pathlib import Path
from typing import Any, BinaryIO

from talklog.errors import AudioError
from talklog.sound_files.kinds import COPY_AGAIN


def open_ended(file: BinaryIO) -> OpenEnded | None:
    """A WAV file whose recorder left the length of its data at 0, so that it can still be read."""
    size = os.fstat(file.fileno()).st_size
    at = 12
    while at + 8 <= size:
        file.seek(at)
        name, length = struct.unpack("<4sI", file.read(8))
        if name == b"data":
            rest = size - at - 8
            return OpenEnded(file, at + 4) if not length and rest > 8 else None
        at += 8 + length + length % 2
    return None


class OpenEnded(io.FileIO):
    """The file with 0xFFFFFFFF, "until the end", in place of the length at offset ``at``."""

    def __init__(self, file: BinaryIO, at: int) -> None:
        super().__init__(file.fileno(), closefd=False)
        self.at = at

    def readinto(self, buffer: Any) -> int:
        start = self.tell()
        count = super().readinto(buffer) or 0
        for place in range(max(self.at, start), min(self.at + 4, start + count)):
            buffer[place - start : place - start + 1] = b"\xff"
        return count


def check_pages(path: Path, file: BinaryIO) -> None:
    """Refuse an Ogg file that ends within a page, or holds a second recording behind the first.

    libsndfile passes over both without a word. Page layout: RFC 3533, section 6.
    """
    size = os.fstat(file.fileno()).st_size
    at, begun = 0, False
    while at < size:
        file.seek(at)
        head = file.read(27)
        lengths = file.read(head[26]) if len(head) == 27 else b""
        at += 27 + len(lengths) + sum(lengths)
        if not head.startswith(b"OggS") or at > size:
            raise AudioError(f"{path}: is damaged or cut short. {COPY_AGAIN}")
        first = bool(head[5] & 2)  # first page of a logical stream
        if first and begun:
            raise AudioError(f"{path}: holds several recordings in a row. Save each as a file.")
        begun = begun or not first
