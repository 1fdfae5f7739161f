"""A file that libsndfile reads (WAV, FLAC, Ogg, MP3 and their kin) -> its sound."""

from __future__ import annotations

import os
import re
from collections.abc import Generator, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from talklog.errors import AudioError
from talklog.quiet import hushed
from talklog.sound_files.headers import check_pages, open_ended
from talklog.sound_files.kinds import (
    CHECK_RECORDER,
    COPY_AGAIN,
    MISSING_CODED,
    Kind,
    Sound,
    cut_short,
    unreadable,
)

if TYPE_CHECKING:
    from talklog.sound_files.kinds import Samples

# Headers written by recorders that could not know the length say 0 or something near 2 or 4 GiB.
OPEN_ENDED = 0x7FFF_0000
MISSING = 0.05  # seconds that may be missing at the end; of files that are coded, more
BROKEN_SHARE = 0.01  # of samples that are no numbers; fewer become silence
_FRAMES = 16_384  # frames decoded at a time, fewer if there are many channels
_MALFORMED = 3  # SF_ERR_MALFORMED_FILE: right kind, broken; another decoder would hide that
_UNKNOWN_LENGTH = 2**62  # libsndfile says 2**63 - 1
# How libsndfile's log tells of a chunk that is longer than the file: "data : 900 (should be 500)".
_OVERLONG = re.compile(
    r"^ *(?:data|SSND|Data Size|riff|Riff size) *: (\d+) \(should be (\d+)\)", re.M
)
_HOLES = ("Corrupted bitstream", "reports a hole")


def plain_sound(path: Path, kind: Kind, file: BinaryIO) -> AbstractContextManager[Sound] | None:
    """The sound of a file, closed at the end; ``None`` if libsndfile does not take the file.

    Raises AudioError if it is damaged or cut short, as far as that can be seen without decoding it.
    """
    opened = _opened(path, kind, file)
    return None if opened is None else _closing(path, opened)


@contextmanager
def _closing(path: Path, opened: Any) -> Generator[Sound]:
    with opened:
        yield _sound_of(path, opened)


def _opened(path: Path, kind: Kind, file: BinaryIO) -> Any | None:
    """An open soundfile.SoundFile, or ``None`` if libsndfile does not take the file."""
    import soundfile

    if kind.name == "Ogg":
        check_pages(path, file)
    # Opened by number: names that are not UTF-8, and those that end in .raw, need no special care.
    source = open_ended(file) or file.fileno()
    os.lseek(file.fileno(), 0, os.SEEK_SET)  # libsndfile starts where the descriptor stands
    with hushed():
        try:
            return _forward(soundfile.SoundFile)(source, closefd=False)
        except soundfile.LibsndfileError as error:
            if error.code == _MALFORMED:
                raise AudioError(unreadable(path, kind)) from None
            return None


def _forward(sound_file: type) -> type:
    """SoundFile that reads straight on.

    It seeks to where it stands after every read, if it can; that makes an MP3 decoder forget what
    it carries from frame to frame, and leaves a burst of garbage at the start of each block.
    """
    return type("Forward", (sound_file,), {"seekable": lambda self: False})


def _sound_of(path: Path, opened: Any) -> Sound:
    known = opened.frames < _UNKNOWN_LENGTH
    seconds = opened.frames / opened.samplerate if known else None
    _check_promise(path, opened.extra_info, seconds or 0.0)
    if not opened.frames:
        raise AudioError(f"{path}: holds no sound. {CHECK_RECORDER}")
    gain = _gain(path, opened) if opened.subtype in ("FLOAT", "DOUBLE") else 1.0
    return Sound(path, opened.samplerate, seconds, _decoded(path, opened, seconds), gain)


def _check_promise(path: Path, log: str, seconds: float) -> None:
    """Refuse a file whose header promises more than is there, unless nobody could know better."""
    for declared, there in _OVERLONG.findall(log):
        promised = seconds * int(declared) / int(there) if seconds else None
        if int(declared) < OPEN_ENDED and (promised is None or promised - seconds > MISSING):
            raise cut_short(path, seconds, promised)


def _decoded(path: Path, opened: Any, seconds: float | None) -> Iterator[Samples]:
    done = 0
    for frames in _frames(opened):
        done += len(frames)
        yield frames
    readable = done / opened.samplerate
    if any(hole in opened.extra_info for hole in _HOLES):
        raise AudioError(f"{path}: is damaged, parts of its sound are missing. {COPY_AGAIN}")
    if seconds is not None and seconds - readable > _tolerance(opened):
        raise cut_short(path, readable, seconds)


def _tolerance(opened: Any) -> float:
    return MISSING_CODED if opened.format == "MP3" else MISSING


def _frames(opened: Any) -> Iterator[Samples]:
    """All that can be decoded. A decoder that gives up half-way through a block is not asked again.

    The block is filled with NaN beforehand, because the count is lost with the error: that is how
    a FLAC of unknown length ends, and its last fraction of a second would be gone.
    """
    import numpy as np
    import soundfile

    size = max(1, _FRAMES // opened.channels)
    while True:
        block = np.full((size, opened.channels), np.nan, dtype="float32")
        with hushed():
            try:
                frames = opened.read(out=block)
            except soundfile.LibsndfileError:
                yield block[: np.isfinite(block).any(axis=1).sum()]
                return
        if not len(frames):
            return
        yield frames


def _gain(path: Path, opened: Any) -> float:
    """What brings a floating-point file down to full scale: such files may go far above it."""
    import numpy as np

    peak, broken = 0.0, 0
    for frames in _frames(opened):
        good = np.isfinite(frames)
        broken += frames.size - np.count_nonzero(good)
        peak = max(peak, float(np.abs(frames, where=good, out=np.zeros_like(frames)).max()))
    if broken > BROKEN_SHARE * opened.frames * opened.channels:
        raise AudioError(
            f"{path}: {broken} of its samples are not numbers. Export it again as 16-bit WAV."
        )
    opened.seek(0)
    return 1.0 / max(peak, 1.0)
