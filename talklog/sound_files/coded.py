"""A file that needs FFmpeg (M4A, AAC, video files and their kin) -> its sound, by PyAV."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from talklog.errors import AudioError
from talklog.quiet import hushed
from talklog.sound_files.kinds import MISSING_CODED, Kind, Sound, cut_short, unreadable

if TYPE_CHECKING:
    from talklog.sound_files.kinds import Samples

EXTRA = "pip install 'talklog[video]'"
# Their "duration" is a guess from the bit rate.
_NO_LENGTH = frozenset({"aac", "mp3", "mpeg", "mpegts", "amr"})


@contextmanager
def coded_sound(path: Path, kind: Kind, file: BinaryIO) -> Generator[Sound]:
    """The sound of a file, closed at the end. Raises AudioError, also if PyAV is not there."""
    av = _import_av(path, kind)
    try:
        with hushed():
            container = av.open(file)
    except (av.error.FFmpegError, ValueError, OSError):
        raise AudioError(unreadable(path, kind)) from None
    with container:
        if not container.streams.audio:
            raise AudioError(f"{path}: has no sound track. Name the file that holds the sound.")
        stream = container.streams.audio[0]
        if stream.codec_context is None:  # a coding that this FFmpeg has never heard of
            raise AudioError(unreadable(path, kind))
        seconds = _promised(container, stream)
        yield Sound(path, stream.rate, seconds, _decoded(path, kind, stream, seconds))


def _import_av(path: Path, kind: Kind) -> Any:
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


def _decoded(path: Path, kind: Kind, stream: Any, seconds: float | None) -> Iterator[Samples]:
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
                raise cut_short(path, done, seconds) from None
            raise AudioError(unreadable(path, kind)) from None
        yield from pieces
        done += sum(map(len, pieces)) / stream.rate
        more = frame is not None
    if seconds is not None and seconds - done > MISSING_CODED:
        raise cut_short(path, done, seconds)
