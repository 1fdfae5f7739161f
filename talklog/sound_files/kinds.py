"""The types of sound files: what a file is by its first bytes, and a file being decoded."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from talklog.errors import AudioError

if TYPE_CHECKING:
    import numpy as np

    Samples = np.ndarray[Any, np.dtype[np.float32]]

COPY_AGAIN = (
    "Copy it again from the recorder; if this is all there is, save what can be played as a new "
    "file with an audio editor."
)
CHECK_RECORDER = "Check the microphone and the recorder, and record it again."
MISSING_CODED = 0.5  # seconds that coders pad and trim at the end: not yet cut short
_READABLE = "It reads WAV, FLAC, Ogg, Opus, MP3, and with the video extra M4A, AAC and video files."


@dataclass(frozen=True, slots=True)
class Sound:
    """A file being decoded: its frames are float32 arrays (frames, channels), nominally -1 to 1."""

    path: Path
    rate: int
    seconds: float | None
    frames: Iterator[Samples]
    gain: float = 1.0


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of file by the bytes it starts with."""

    name: str
    offset: int
    magic: bytes
    plain: bool  # soundfile reads it
    coded: bool  # PyAV may read what soundfile cannot


_KINDS = (
    Kind("AVI", 8, b"AVI ", plain=False, coded=True),
    Kind("WAV", 0, b"RIFF", plain=True, coded=True),
    Kind("WAV", 0, b"RF64", plain=True, coded=True),
    Kind("W64", 0, b"riff", plain=True, coded=True),
    Kind("FLAC", 0, b"fLaC", plain=True, coded=False),
    Kind("Ogg", 0, b"OggS", plain=True, coded=True),
    Kind("AIFF", 0, b"FORM", plain=True, coded=True),
    Kind("AU", 0, b".snd", plain=True, coded=False),
    Kind("CAF", 0, b"caff", plain=True, coded=True),
    Kind("AAC", 0, b"\xff\xf1", plain=False, coded=True),
    Kind("AAC", 0, b"\xff\xf9", plain=False, coded=True),
    Kind("MP3", 0, b"ID3", plain=True, coded=True),
    Kind("MP3", 0, b"\xff\xfb", plain=True, coded=True),
    Kind("MP3", 0, b"\xff\xf3", plain=True, coded=True),
    Kind("M4A or MP4", 4, b"ftyp", plain=False, coded=True),
    Kind("QuickTime", 4, b"moov", plain=False, coded=True),
    Kind("QuickTime", 4, b"mdat", plain=False, coded=True),
    Kind("QuickTime", 4, b"wide", plain=False, coded=True),
    Kind("Matroska or WebM", 0, b"\x1a\x45\xdf\xa3", plain=False, coded=True),
    Kind("Windows Media", 0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", plain=False, coded=True),
    Kind("Flash video", 0, b"FLV\x01", plain=False, coded=True),
    Kind("AMR", 0, b"#!AMR", plain=False, coded=True),
    Kind("MPEG video", 0, b"\x00\x00\x01\xba", plain=False, coded=True),
)


def kind_of(path: Path, file: BinaryIO) -> Kind:
    """What a file is by its first bytes. Raises AudioError for a file with nothing in it."""
    head = file.read(16)
    file.seek(0)
    if not head:
        raise AudioError(f"{path}: is empty (0 bytes). {COPY_AGAIN}")
    for kind in _KINDS:
        if head[kind.offset :].startswith(kind.magic):
            return kind
    return Kind("", 0, b"", plain=True, coded=False)


# ---- what is said of files that cannot be used ---------------------------------------------------


def unreadable(path: Path, kind: Kind) -> str:
    if not kind.name:
        return f"{path}: is not a recording that talklog knows. {_READABLE}"
    return f"{path}: looks like {kind.name}, but is damaged or holds no sound. {COPY_AGAIN}"


def cut_short(path: Path, readable: float, promised: float | None) -> AudioError:
    of = f" of {promised:.1f}" if promised else ""
    return AudioError(
        f"{path}: is damaged or cut short: only {readable:.1f}{of} seconds can be read. "
        f"{COPY_AGAIN}"
    )
