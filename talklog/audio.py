"""Recordings in: any audio file -> its fingerprint and a stream of 16 kHz mono samples.

Nothing is loaded whole: a file is decoded, mixed to one channel, resampled and handed on in quarter
seconds, so that three hours need no more memory than a minute. What would make a record silently
wrong (a file that is cut short, damaged or silent) is an error, not a warning.

Libraries: soundfile (libsndfile) for WAV, FLAC, Ogg, MP3 and their kin, PyAV for the rest, soxr for
the rate. All their complaints end here, as AudioError.
"""

from __future__ import annotations

import hashlib
from collections.abc import Generator, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from talklog.errors import AudioError
from talklog.sound_files.coded import coded_sound
from talklog.sound_files.kinds import CHECK_RECORDER, Kind, Sound, kind_of, unreadable
from talklog.sound_files.plain import plain_sound

if TYPE_CHECKING:
    import numpy as np

    from talklog.sound_files.kinds import Samples

RATE = 16_000  # samples a second that speech models want
BLOCK = 4_000  # samples handed on at a time: a quarter of a second
# 8000/s is the slowest rate speech is sent at (telephone, ITU-T G.711); 768000/s the fastest
# that recorders offer (common practice, no source).
SLOWEST, FASTEST = 8_000, 768_000
LONGEST = 12 * 3600  # seconds; more is a forgotten recorder, not a note
# Peak, of 32768, up to which a whole recording counts as silent (-72 dB): a working microphone's
# own noise is louder (common practice, no source).
SILENT_PEAK = 8


@dataclass(frozen=True, slots=True)
class Recording:
    """An audio file that can be read. ``seconds`` is what its header says, ``None`` if nothing."""

    path: Path
    name: str  # without folders
    sha256: str  # of the file as it is, hexadecimal
    seconds: float | None


def open_audio(path: Path) -> Recording:
    """Look at a recording and take its fingerprint, without decoding it.

    Raises AudioError, naming the file and what to do, if it cannot be a usable recording.
    """
    path = Path(path)
    with _opened(path) as sound:
        return Recording(path, path.name, _sha256(path), sound.seconds)


def read_blocks(recording: Recording) -> Iterator[bytes]:
    """16 kHz mono samples, native 16-bit integers, BLOCK at a time; the last block is shorter.

    Several channels are averaged; where that would cancel them (one wired the wrong way round), the
    first of the loudest is taken. Raises AudioError when the file turns out to be damaged, cut
    short, too long, or nothing but silence, after the blocks that could be read.
    """
    peak = count = 0
    with _opened(recording.path) as sound:
        for block in _blocks(_resampled(_mono(sound), sound.rate)):
            count += len(block)
            peak = max(peak, int(abs(block.astype("int32")).max()))
            yield block.tobytes()
    if not count:
        raise AudioError(f"{recording.path}: holds no sound. {CHECK_RECORDER}")
    if peak <= SILENT_PEAK:
        raise AudioError(f"{recording.path}: nothing but silence. {CHECK_RECORDER}")


# ---- samples -------------------------------------------------------------------------------------


def _mono(sound: Sound) -> Iterator[Samples]:
    import numpy as np

    done = 0
    for frames in sound.frames:
        done += len(frames)
        if done > LONGEST * sound.rate:
            raise AudioError(_too_long(sound.path))
        # Parts that are no numbers are dropouts, and a dropout is silent.
        yield _mixed(np.nan_to_num(frames * sound.gain, nan=0.0, posinf=0.0, neginf=0.0))


def _mixed(frames: Samples) -> Samples:
    """One channel out of (frames, channels): the mean, unless the channels cancel each other."""
    import numpy as np

    channels = frames.shape[1]
    mean = frames.mean(axis=1)
    energy = np.square(frames).sum(axis=0)
    # Channels that merely differ can never make the mean quieter than one of them alone would.
    alone = energy.max(initial=0.0) / channels**2
    if np.square(mean).sum() >= 0.5 * alone:
        return mean
    # The first of those within 3 dB, so that the choice stays the same from block to block.
    return frames[:, np.argmax(energy >= 0.5 * energy.max())]


def _resampled(mono: Iterable[Samples], rate: int) -> Iterator[Samples]:
    import numpy as np
    import soxr

    if rate == RATE:
        yield from mono
        return
    stream = soxr.ResampleStream(rate, RATE, 1, dtype="float32")
    for samples in mono:
        yield stream.resample_chunk(np.ascontiguousarray(samples, dtype="float32"))
    yield stream.resample_chunk(np.zeros(0, dtype="float32"), last=True)


def _blocks(pieces: Iterable[Samples]) -> Iterator[np.ndarray]:
    """Pieces of any length as int16 arrays of BLOCK samples."""
    import numpy as np

    held = np.zeros(0, dtype="int16")
    for piece in pieces:
        held = np.concatenate((held, np.rint(np.clip(piece, -1, 1) * 32767).astype("int16")))
        whole = len(held) - len(held) % BLOCK
        yield from held[:whole].reshape(-1, BLOCK)
        held = held[whole:]
    if len(held):
        yield held


# ---- files ---------------------------------------------------------------------------------------


@contextmanager
def _opened(path: Path) -> Generator[Sound]:
    """The sound of a file, opened by the library that can; the file is closed at the end."""
    try:
        with path.open("rb") as file:
            kind = kind_of(path, file)
            with _decoder(path, kind, file) as sound:
                _check(sound)
                yield sound
    except OSError as error:
        raise AudioError(f"{path}: {_system_reason(error)}") from error


def _decoder(path: Path, kind: Kind, file: BinaryIO) -> AbstractContextManager[Sound]:
    """Try soundfile, then PyAV, as far as the kind of file makes sense for either."""
    plain = plain_sound(path, kind, file) if kind.plain else None
    if plain is not None:
        return plain
    if not kind.coded:
        raise AudioError(unreadable(path, kind))
    file.seek(0)
    return coded_sound(path, kind, file)


def _check(sound: Sound) -> None:
    if not SLOWEST <= sound.rate <= FASTEST:
        raise AudioError(
            f"{sound.path}: has {sound.rate} samples a second; speech needs {SLOWEST} to {FASTEST}."
            " Record at 16000 or more, or correct the header if it is wrong."
        )
    if sound.seconds is not None and sound.seconds > LONGEST:
        raise AudioError(_too_long(sound.path))


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _system_reason(error: OSError) -> str:
    """Why the system would not open or read a file, and what to do."""
    reasons: dict[type, str] = {
        FileNotFoundError: "no such file. Check the name.",
        IsADirectoryError: "is a folder, not a recording. Name a file in it.",
        PermissionError: "may not be read. Change its permissions or copy it.",
    }
    other = f"could not be read ({error.strerror}). Copy it to this machine and try again."
    return reasons.get(type(error), other)


def _too_long(path: Path) -> str:
    return f"{path}: is longer than {LONGEST // 3600} hours. Cut it into shorter recordings."
