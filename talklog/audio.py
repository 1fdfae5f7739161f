"""Recordings in: any audio file -> its fingerprint and a stream of 16 kHz mono samples.

Nothing is loaded whole: a file is decoded, mixed to one channel, resampled and handed on in quarter
seconds, so that three hours need no more memory than a minute. What would make a record silently
wrong (a file that is cut short, damaged or silent) is an error, not a warning.

Libraries: soundfile (libsndfile) for WAV, FLAC, Ogg, MP3 and their kin, PyAV for the rest, soxr for
the rate. All their complaints end here, as AudioError.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import struct
import sys
from collections.abc import Generator, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from talklog.errors import AudioError

if TYPE_CHECKING:
    import numpy as np

    Samples = np.ndarray[Any, np.dtype[np.float32]]

RATE = 16_000  # samples a second that speech models want
BLOCK = 4_000  # samples handed on at a time: a quarter of a second
# 8000/s is the slowest rate speech is sent at (telephone, ITU-T G.711); 768000/s the fastest
# that recorders offer (common practice, no source).
SLOWEST, FASTEST = 8_000, 768_000
LONGEST = 12 * 3600  # seconds; more is a forgotten recorder, not a note
# Peak, of 32768, up to which a whole recording counts as silent (-72 dB): a working microphone's
# own noise is louder (common practice, no source).
SILENT_PEAK = 8
# Headers written by recorders that could not know the length say 0 or something near 2 or 4 GiB.
OPEN_ENDED = 0x7FFF_0000
# Seconds that may be missing at the end before a file counts as cut short: coders pad and trim.
MISSING, MISSING_CODED = 0.05, 0.5
BROKEN_SHARE = 0.01  # of samples that are no numbers; fewer become silence
EXTRA = "pip install 'talklog[video]'"


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
        raise AudioError(f"{recording.path}: holds no sound. {_CHECK_RECORDER}")
    if peak <= SILENT_PEAK:
        raise AudioError(f"{recording.path}: nothing but silence. {_CHECK_RECORDER}")


# ---- samples -------------------------------------------------------------------------------------


def _mono(sound: _Sound) -> Iterator[Samples]:
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


@dataclass(frozen=True, slots=True)
class _Sound:
    """A file being decoded: its frames are float32 arrays (frames, channels), nominally -1 to 1."""

    path: Path
    rate: int
    seconds: float | None
    frames: Iterator[Samples]
    gain: float = 1.0


@dataclass(frozen=True, slots=True)
class _Kind:
    """A kind of file by the bytes it starts with."""

    name: str
    offset: int
    magic: bytes
    plain: bool  # soundfile reads it
    coded: bool  # PyAV may read what soundfile cannot


_KINDS = (
    _Kind("AVI", 8, b"AVI ", plain=False, coded=True),
    _Kind("WAV", 0, b"RIFF", plain=True, coded=True),
    _Kind("WAV", 0, b"RF64", plain=True, coded=True),
    _Kind("W64", 0, b"riff", plain=True, coded=True),
    _Kind("FLAC", 0, b"fLaC", plain=True, coded=False),
    _Kind("Ogg", 0, b"OggS", plain=True, coded=True),
    _Kind("AIFF", 0, b"FORM", plain=True, coded=True),
    _Kind("AU", 0, b".snd", plain=True, coded=False),
    _Kind("CAF", 0, b"caff", plain=True, coded=True),
    _Kind("AAC", 0, b"\xff\xf1", plain=False, coded=True),
    _Kind("AAC", 0, b"\xff\xf9", plain=False, coded=True),
    _Kind("MP3", 0, b"ID3", plain=True, coded=True),
    _Kind("MP3", 0, b"\xff\xfb", plain=True, coded=True),
    _Kind("MP3", 0, b"\xff\xf3", plain=True, coded=True),
    _Kind("M4A or MP4", 4, b"ftyp", plain=False, coded=True),
    _Kind("QuickTime", 4, b"moov", plain=False, coded=True),
    _Kind("QuickTime", 4, b"mdat", plain=False, coded=True),
    _Kind("QuickTime", 4, b"wide", plain=False, coded=True),
    _Kind("Matroska or WebM", 0, b"\x1a\x45\xdf\xa3", plain=False, coded=True),
    _Kind("Windows Media", 0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", plain=False, coded=True),
    _Kind("Flash video", 0, b"FLV\x01", plain=False, coded=True),
    _Kind("AMR", 0, b"#!AMR", plain=False, coded=True),
    _Kind("MPEG video", 0, b"\x00\x00\x01\xba", plain=False, coded=True),
)

_CHECK_RECORDER = "Check the microphone and the recorder, and record it again."
_COPY_AGAIN = (
    "Copy it again from the recorder; if this is all there is, save what can be played as a new "
    "file with an audio editor."
)
_READABLE = "It reads WAV, FLAC, Ogg, Opus, MP3, and with the video extra M4A, AAC and video files."


@contextmanager
def _opened(path: Path) -> Generator[_Sound]:
    """The sound of a file, opened by the library that can; the file is closed at the end."""
    try:
        with path.open("rb") as file:
            kind = _kind(path, file)
            with _decoder(path, kind, file) as sound:
                _check(sound)
                yield sound
    except OSError as error:
        raise AudioError(f"{path}: {_system_reason(error)}") from error


def _kind(path: Path, file: BinaryIO) -> _Kind:
    head = file.read(16)
    file.seek(0)
    if not head:
        raise AudioError(f"{path}: is empty (0 bytes). {_COPY_AGAIN}")
    for kind in _KINDS:
        if head[kind.offset :].startswith(kind.magic):
            return kind
    return _Kind("", 0, b"", plain=True, coded=False)


@contextmanager
def _decoder(path: Path, kind: _Kind, file: BinaryIO) -> Generator[_Sound]:
    """Try soundfile, then PyAV, as far as the kind of file makes sense for either."""
    opened = _soundfile(path, kind, file) if kind.plain else None
    if opened is None:
        if not kind.coded:
            raise AudioError(_unreadable(path, kind))
        file.seek(0)
        with _pyav(path, kind, file) as sound:
            yield sound
        return
    with opened:
        yield _sound_of(path, opened)


def _check(sound: _Sound) -> None:
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


# ---- what is said of files that cannot be used ---------------------------------------------------


def _system_reason(error: OSError) -> str:
    """Why the system would not open or read a file, and what to do."""
    reasons: dict[type, str] = {
        FileNotFoundError: "no such file. Check the name.",
        IsADirectoryError: "is a folder, not a recording. Name a file in it.",
        PermissionError: "may not be read. Change its permissions or copy it.",
    }
    other = f"could not be read ({error.strerror}). Copy it to this machine and try again."
    return reasons.get(type(error), other)


def _unreadable(path: Path, kind: _Kind) -> str:
    if not kind.name:
        return f"{path}: is not a recording that talklog knows. {_READABLE}"
    return f"{path}: looks like {kind.name}, but is damaged or holds no sound. {_COPY_AGAIN}"


def _cut_short(path: Path, readable: float, promised: float | None) -> AudioError:
    of = f" of {promised:.1f}" if promised else ""
    return AudioError(
        f"{path}: is damaged or cut short: only {readable:.1f}{of} seconds can be read. "
        f"{_COPY_AGAIN}"
    )


def _too_long(path: Path) -> str:
    return f"{path}: is longer than {LONGEST // 3600} hours. Cut it into shorter recordings."


# ---- soundfile -----------------------------------------------------------------------------------

_FRAMES = 16_384  # frames decoded at a time, fewer if there are many channels
_MALFORMED = 3  # SF_ERR_MALFORMED_FILE: right kind, broken; another decoder would hide that
_UNKNOWN_LENGTH = 2**62  # libsndfile says 2**63 - 1
# How libsndfile's log tells of a chunk that is longer than the file: "data : 900 (should be 500)".
_OVERLONG = re.compile(
    r"^ *(?:data|SSND|Data Size|riff|Riff size) *: (\d+) \(should be (\d+)\)", re.M
)
_HOLES = ("Corrupted bitstream", "reports a hole")


def _soundfile(path: Path, kind: _Kind, file: BinaryIO) -> Any | None:
    """An open soundfile.SoundFile, or ``None`` if libsndfile does not take the file."""
    import soundfile

    if kind.name == "Ogg":
        _check_pages(path, file)
    # Opened by number: names that are not UTF-8, and those that end in .raw, need no special care.
    source = _open_ended(file) or file.fileno()
    os.lseek(file.fileno(), 0, os.SEEK_SET)  # libsndfile starts where the descriptor stands
    with hushed():
        try:
            return _forward(soundfile.SoundFile)(source, closefd=False)
        except soundfile.LibsndfileError as error:
            if error.code == _MALFORMED:
                raise AudioError(_unreadable(path, kind)) from None
            return None


def _forward(sound_file: type) -> type:
    """SoundFile that reads straight on.

    It seeks to where it stands after every read, if it can; that makes an MP3 decoder forget what
    it carries from frame to frame, and leaves a burst of garbage at the start of each block.
    """
    return type("Forward", (sound_file,), {"seekable": lambda self: False})


def _sound_of(path: Path, opened: Any) -> _Sound:
    known = opened.frames < _UNKNOWN_LENGTH
    seconds = opened.frames / opened.samplerate if known else None
    _check_promise(path, opened.extra_info, seconds or 0.0)
    if not opened.frames:
        raise AudioError(f"{path}: holds no sound. {_CHECK_RECORDER}")
    gain = _gain(path, opened) if opened.subtype in ("FLOAT", "DOUBLE") else 1.0
    return _Sound(path, opened.samplerate, seconds, _decoded(path, opened, seconds), gain)


def _check_promise(path: Path, log: str, seconds: float) -> None:
    """Refuse a file whose header promises more than is there, unless nobody could know better."""
    for declared, there in _OVERLONG.findall(log):
        promised = seconds * int(declared) / int(there) if seconds else None
        if int(declared) < OPEN_ENDED and (promised is None or promised - seconds > MISSING):
            raise _cut_short(path, seconds, promised)


def _decoded(path: Path, opened: Any, seconds: float | None) -> Iterator[Samples]:
    done = 0
    for frames in _frames(opened):
        done += len(frames)
        yield frames
    readable = done / opened.samplerate
    if any(hole in opened.extra_info for hole in _HOLES):
        raise AudioError(f"{path}: is damaged, parts of its sound are missing. {_COPY_AGAIN}")
    if seconds is not None and seconds - readable > _tolerance(opened):
        raise _cut_short(path, readable, seconds)


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


@contextmanager
def hushed() -> Generator[None]:
    """Keep foreign libraries from writing remarks of their own to the terminal, past everybody."""
    try:
        kept = os.dup(2)
    except OSError:  # there is no terminal to keep clean
        yield
        return
    if sys.stderr:
        sys.stderr.flush()
    nothing = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nothing, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nothing)


def _open_ended(file: BinaryIO) -> _OpenEnded | None:
    """A WAV file whose recorder left the length of its data at 0, so that it can still be read."""
    size = os.fstat(file.fileno()).st_size
    at = 12
    while at + 8 <= size:
        file.seek(at)
        name, length = struct.unpack("<4sI", file.read(8))
        if name == b"data":
            rest = size - at - 8
            return _OpenEnded(file, at + 4) if not length and rest > 8 else None
        at += 8 + length + length % 2
    return None


class _OpenEnded(io.FileIO):
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


def _check_pages(path: Path, file: BinaryIO) -> None:
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
            raise AudioError(f"{path}: is damaged or cut short. {_COPY_AGAIN}")
        first = bool(head[5] & 2)  # first page of a logical stream
        if first and begun:
            raise AudioError(f"{path}: holds several recordings in a row. Save each as a file.")
        begun = begun or not first


# ---- PyAV ----------------------------------------------------------------------------------------

# Their "duration" is a guess from the bit rate.
_NO_LENGTH = frozenset({"aac", "mp3", "mpeg", "mpegts", "amr"})


@contextmanager
def _pyav(path: Path, kind: _Kind, file: BinaryIO) -> Generator[_Sound]:
    av = _import_av(path, kind)
    try:
        with hushed():
            container = av.open(file)
    except (av.error.FFmpegError, ValueError, OSError):
        raise AudioError(_unreadable(path, kind)) from None
    with container:
        if not container.streams.audio:
            raise AudioError(f"{path}: has no sound track. Name the file that holds the sound.")
        stream = container.streams.audio[0]
        if stream.codec_context is None:  # a coding that this FFmpeg has never heard of
            raise AudioError(_unreadable(path, kind))
        seconds = _promised(container, stream)
        yield _Sound(path, stream.rate, seconds, _av_frames(path, kind, stream, seconds))


def _import_av(path: Path, kind: _Kind) -> Any:
    try:
        import av
    except ImportError:
        if kind.plain:
            raise AudioError(
                f"{path}: looks like {kind.name}, but is damaged or packed in an unusual way. "
                f"Copy it again from the recorder, or try once more after: {EXTRA}."
            ) from None
        raise AudioError(f"{path}: looks like {kind.name}. To read it: {EXTRA}.") from None
    return av


def _promised(container: Any, stream: Any) -> float | None:
    if container.format.name in _NO_LENGTH:
        return None
    if stream.duration:
        return float(stream.duration * stream.time_base)
    # The length of the whole says nothing about the sound if there are pictures too.
    whole = container.duration if not container.streams.video else None
    return whole / 1_000_000 if whole else None


def _av_frames(path: Path, kind: _Kind, stream: Any, seconds: float | None) -> Iterator[Samples]:
    import av

    resampler = av.AudioResampler(format="fltp")  # changes the number format, not the rate
    decoded = stream.container.decode(stream)
    done, more = 0.0, True
    while more:
        try:
            with hushed():
                frame = next(decoded, None)
                pieces = [part.to_ndarray().T for part in resampler.resample(frame)]
        except (av.error.FFmpegError, ValueError, OSError):
            if done:
                raise _cut_short(path, done, seconds) from None
            raise AudioError(_unreadable(path, kind)) from None
        yield from pieces
        done += sum(map(len, pieces)) / stream.rate
        more = frame is not None
    if seconds is not None and seconds - done > MISSING_CODED:
        raise _cut_short(path, done, seconds)
