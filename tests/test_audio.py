"""Recordings of every kind, whole and broken. All files are made here, from arithmetic.

The reference for levels and times is the formula of the sound itself, not another program.
"""

import errno
import hashlib
import os
import struct
import subprocess
import sys
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from talklog import audio
from talklog.audio import BLOCK, RATE, open_audio, read_blocks
from talklog.errors import AudioError

SECONDS = 2.5


def tone(rate: int = RATE, seconds: float = SECONDS, hertz: float = 440.0) -> np.ndarray:
    return 0.4 * np.sin(2 * np.pi * hertz * np.arange(round(rate * seconds)) / rate)


def heard(path: Path) -> np.ndarray:
    """All samples of a recording, -1 to 1."""
    return np.frombuffer(b"".join(read_blocks(open_audio(path))), dtype=np.int16) / 32767


def error_of(path: Path) -> str:
    with pytest.raises(AudioError) as caught:
        heard(path)
    return str(caught.value)


def distance(samples: np.ndarray, expected: np.ndarray) -> float:
    """Error against the formula, in dB below the sound, without the ends, where filters settle."""
    middle = slice(RATE // 4, min(len(samples), len(expected)) - RATE // 4)
    error = np.square(samples[middle] - expected[middle]).mean()
    return 10 * np.log10(np.square(expected[middle]).mean() / max(error, 1e-20))


# ---- what can be read ----------------------------------------------------------------------------

PLAIN = [
    ("a.wav", "PCM_U8", 30),
    ("a.wav", "PCM_16", 70),
    ("a.wav", "PCM_24", 70),
    ("a.wav", "PCM_32", 70),
    ("a.wav", "FLOAT", 70),
    ("a.wav", "DOUBLE", 70),
    ("a.wav", "ULAW", 30),
    ("a.wav", "IMA_ADPCM", 15),
    ("a.flac", "PCM_S8", 30),
    ("a.flac", "PCM_16", 70),
    ("a.flac", "PCM_24", 70),
    ("a.aiff", "PCM_24", 70),
    ("a.au", "PCM_16", 70),
    ("a.caf", "PCM_16", 70),
    ("a.w64", "PCM_16", 70),
    ("a.ogg", "VORBIS", 30),
    ("a.mp3", "MPEG_LAYER_III", 30),  # garbage at the start of each block would leave 7
]


@pytest.mark.parametrize(("name", "subtype", "decibels"), PLAIN)
def test_every_kind_of_file_and_sample(tmp_path, name, subtype, decibels) -> None:
    soundfile.write(tmp_path / name, tone(), RATE, subtype=subtype)
    samples = heard(tmp_path / name)
    assert abs(len(samples) - SECONDS * RATE) <= 0.05 * RATE
    assert distance(samples, tone()) > decibels


@pytest.mark.parametrize(
    ("container", "subtype"), [("RF64", "PCM_16"), ("WAVEX", "FLOAT"), ("OGG", "OPUS")]
)
def test_containers_that_names_do_not_tell(tmp_path, container, subtype) -> None:
    path = tmp_path / "note.raw"  # a name that says something else
    both = np.stack([tone(48_000)] * 2, axis=1)
    soundfile.write(path, both, 48_000, format=container, subtype=subtype)
    assert distance(heard(path), tone()) > 20


@pytest.mark.parametrize(
    "rate", [8_000, 11_025, 12_000, 22_050, 32_000, 44_100, 44_099, 48_000, 96_000, 384_000]
)
def test_any_rate_becomes_16000_without_shift(tmp_path, rate) -> None:
    soundfile.write(tmp_path / "a.wav", tone(rate), rate, subtype="PCM_24")
    samples = heard(tmp_path / "a.wav")
    assert abs(len(samples) - SECONDS * RATE) <= 2
    assert distance(samples, tone()) > 60  # 1 sample of shift would leave 15


def test_what_lies_above_8_khz_does_not_fold_back(tmp_path) -> None:
    soundfile.write(tmp_path / "a.wav", tone(48_000) + tone(48_000, hertz=13_000), 48_000)
    assert distance(heard(tmp_path / "a.wav"), tone()) > 60


@pytest.mark.parametrize("channels", [1, 2, 3, 6, 32])
def test_channels_are_averaged(tmp_path, channels) -> None:
    sound = np.zeros((len(tone()), channels))
    sound[:, -1] = tone()  # only one of them hears anything
    soundfile.write(tmp_path / "a.wav", sound, RATE, subtype="PCM_24")
    assert distance(heard(tmp_path / "a.wav"), tone() / channels) > 40


@pytest.mark.parametrize("other", [-1.0, -0.9, -0.5])
def test_a_channel_wired_the_wrong_way_round_does_not_cancel(tmp_path, other) -> None:
    soundfile.write(tmp_path / "a.wav", np.stack([tone(), other * tone()], axis=1), RATE)
    assert distance(heard(tmp_path / "a.wav"), tone()) > 60


def test_two_speakers_are_both_kept(tmp_path) -> None:
    left, right = tone(), tone(hertz=1000.0)
    soundfile.write(tmp_path / "a.wav", np.stack([left, right], axis=1), RATE)
    assert distance(heard(tmp_path / "a.wav"), (left + right) / 2) > 60


def test_floating_point_above_full_scale_is_brought_down(tmp_path) -> None:
    soundfile.write(tmp_path / "a.wav", 30_000 * tone(), RATE, subtype="FLOAT")
    assert distance(heard(tmp_path / "a.wav"), tone() / 0.4) > 60


def test_a_few_samples_that_are_no_numbers_are_silent(tmp_path) -> None:
    sound = tone()
    sound[[20_000, 20_001, 20_002]] = np.nan, np.inf, -np.inf
    soundfile.write(tmp_path / "a.wav", sound, RATE, subtype="FLOAT")
    samples = heard(tmp_path / "a.wav")
    assert not samples[20_000:20_003].any()
    assert distance(samples, np.nan_to_num(sound, posinf=0, neginf=0)) > 60


def test_clipped_sound_stays_clipped(tmp_path) -> None:
    soundfile.write(tmp_path / "a.wav", np.clip(10 * tone(), -1, 1), RATE)
    samples = heard(tmp_path / "a.wav")
    assert samples.max() > 0.999 and samples.min() < -0.999  # and not wrapped round
    assert distance(samples, np.clip(10 * tone(), -1, 1)) > 60


def wav_with_data_length(path: Path, length: int) -> Path:
    soundfile.write(path, tone(), RATE)
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[at : at + 4] = struct.pack("<I", length)
    path.write_bytes(data)
    return path


# 0xFFFFFFFF, 0x7FFFF000 and 0x80000000 are what programs that write into a pipe leave behind.
@pytest.mark.parametrize("length", [0, 0xFFFF_FFFF, 0x7FFF_F000, 0x8000_0000])
def test_wav_whose_recorder_did_not_know_its_length(tmp_path, length) -> None:
    path = wav_with_data_length(tmp_path / "a.wav", length)
    assert open_audio(path).seconds == pytest.approx(SECONDS)
    assert distance(heard(path), tone()) > 70


def test_flac_of_unknown_length_keeps_its_end(tmp_path) -> None:
    """STREAMINFO's total of samples, 36 bits at byte 21, may be 0 for unknown (RFC 9639, 8.2)."""
    path = tmp_path / "a.flac"
    soundfile.write(path, tone(), RATE)
    data = bytearray(path.read_bytes())
    data[21] &= 0xF0
    data[22:26] = bytes(4)
    path.write_bytes(data)
    assert open_audio(path).seconds is None
    assert len(heard(path)) == len(tone())


def test_name_fingerprint_and_length(tmp_path) -> None:
    path = tmp_path / "Übergabe & <Nr 3>.flac"
    soundfile.write(path, tone(), RATE)
    recording = open_audio(path)
    assert (recording.path, recording.name) == (path, path.name)
    assert recording.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert recording.seconds == pytest.approx(SECONDS)


def test_a_name_that_is_not_utf8(tmp_path) -> None:
    path = tmp_path / os.fsdecode(b"gap\xff.wav")
    soundfile.write(tmp_path / "a.wav", tone(), RATE)
    (tmp_path / "a.wav").rename(path)
    assert distance(heard(path), tone()) > 70


def test_blocks_are_a_quarter_of_a_second_whatever_the_file(tmp_path) -> None:
    soundfile.write(tmp_path / "a.wav", tone(44_100, 1.1), 44_100)
    sizes = [len(block) // 2 for block in read_blocks(open_audio(tmp_path / "a.wav"))]
    assert sizes[:-1] == [BLOCK] * 4
    assert 0 < sizes[-1] < BLOCK


def test_a_long_file_is_never_in_memory(tmp_path) -> None:
    """Three minutes of 48 kHz stereo are 69 MB as float32; a second of them is 0.4 MB."""
    path = tmp_path / "a.wav"
    second = np.stack([tone(48_000, 1.0)] * 2, axis=1)
    with soundfile.SoundFile(path, "w", 48_000, 2) as file:
        for _ in range(180):
            file.write(second)
    recording = open_audio(path)
    tracemalloc.start()
    count = sum(len(block) for block in read_blocks(recording))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert count == 2 * 180 * RATE
    assert peak < 8e6


# ---- what cannot ---------------------------------------------------------------------------------


def cut(name: str, **options: str) -> Callable[[Path], None]:
    """A file with the last two fifths missing. Noise, so that every coder needs many pages."""

    def make(path: Path) -> None:
        whole = path.with_name(name)
        noise = np.random.default_rng(1).normal(0, 0.1, 40 * RATE)
        soundfile.write(whole, noise, RATE, **options)
        data = whole.read_bytes()
        path.write_bytes(data[: len(data) * 3 // 5])

    return make


def data(content: bytes) -> Callable[[Path], None]:
    return lambda path: path.write_bytes(content)


def sound(samples: np.ndarray, rate: int = RATE, **options: str) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        soundfile.write(path.with_suffix(".wav"), samples, rate, **options)
        path.with_suffix(".wav").rename(path)

    return make


def patched(at: int, content: bytes) -> Callable[[Path], None]:
    """A WAV file with other bytes in its header: 22 channels, 24 samples a second."""

    def make(path: Path) -> None:
        sound(tone())(path)
        whole = bytearray(path.read_bytes())
        whole[at : at + len(content)] = content
        path.write_bytes(whole)

    return make


def chained(path: Path) -> None:
    soundfile.write(path.with_name("a.ogg"), tone(), RATE)
    path.write_bytes(path.with_name("a.ogg").read_bytes() * 2)


def spoiled(path: Path) -> None:
    soundfile.write(path.with_name("a.ogg"), np.random.default_rng(1).normal(0, 0.1, 400_000), RATE)
    whole = bytearray(path.with_name("a.ogg").read_bytes())
    at = whole.index(b"OggS", len(whole) // 2) + 400
    whole[at : at + 500] = bytes(500)
    path.write_bytes(whole)


NAN = np.where(np.arange(RATE) % 3, tone(seconds=1.0), np.nan)
QUIET = np.random.default_rng(1).integers(-3, 4, RATE).astype("int16")
BAD = {
    "empty": (data(b""), "is empty (0 bytes)"),
    "text": (data(b"inlet twelve thou\n" * 400), "is not a recording that talklog knows"),
    "picture": (data(b"\x89PNG\r\n\x1a\n" + bytes(999)), "is not a recording that talklog knows"),
    "zero bytes": (data(bytes(9999)), "is not a recording that talklog knows"),
    "folder": (Path.mkdir, "is a folder, not a recording"),
    "nothing there": (lambda path: None, "no such file"),
    "a third no numbers": (sound(NAN, subtype="FLOAT"), "are not numbers"),
    "no samples": (sound(np.zeros(0)), "holds no sound"),
    "digital silence": (sound(np.zeros(RATE)), "nothing but silence"),
    "a dead microphone": (sound(QUIET), "nothing but silence"),
    "1 Hz": (sound(tone(), 1), "has 1 samples a second; speech needs 8000"),
    "4 kHz": (sound(tone(), 4000), "has 4000 samples a second; speech needs 8000"),
    "1 MHz": (sound(tone(), 1_000_000), "has 1000000 samples a second"),
    "0 Hz": (patched(24, bytes(4)), "looks like WAV, but is damaged"),
    "no channels": (patched(22, bytes(2)), "looks like WAV, but is damaged"),
    "only its name": (data(b"fLaC"), "looks like FLAC, but is damaged"),
    "header alone": (data(b"RIFF\x24\x20\0\0WAVE"), "looks like WAV, but is damaged"),
    "cut wav": (cut("a.wav"), "cut short: only 24.0 of 40.0 seconds"),
    "cut rf64": (cut("b.wav", format="RF64"), "cut short: only 24.0 of 40.0 seconds"),
    "cut w64": (cut("a.w64"), "cut short: only 24.0 of 40.0 seconds"),
    "cut aiff": (cut("a.aiff"), "cut short: only 24.0 of 40.0 seconds"),
    "cut au": (cut("a.au"), "cut short: only 24.0 of 40.0 seconds"),
    "cut caf": (cut("a.caf"), "looks like CAF, but is damaged"),
    "cut flac": (cut("a.flac"), "of 40.0 seconds can be read"),
    "cut mp3": (cut("a.mp3"), "of 40.0 seconds can be read"),
    "cut vorbis": (cut("a.ogg"), "is damaged or cut short"),
    "cut opus": (cut("a.opus", format="OGG", subtype="OPUS"), "is damaged or cut short"),
    "two in one": (chained, "holds several recordings in a row"),
    "a hole": (spoiled, "parts of its sound are missing"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_file_is_named_with_the_reason_and_what_to_do(tmp_path, capfd, case) -> None:
    make, expected = BAD[case]
    path = tmp_path / "note"
    make(path)
    said = error_of(path)
    assert said.startswith(f"{path}: ")
    assert expected in said
    assert said.count(". ") >= 1 and said.endswith(".")  # a reason, then what to do
    assert "rror" not in said.removeprefix(str(path))  # in our words, not in a library's
    assert capfd.readouterr().err == ""  # and no library talks past us


@pytest.mark.parametrize(
    ("number", "expected"),
    [(errno.EACCES, "may not be read. Change its permissions"), (errno.EIO, "could not be read")],
)
def test_what_the_system_refuses(tmp_path, monkeypatch, number, expected) -> None:
    def refuse(path: Path, *_: object) -> None:
        raise OSError(number, os.strerror(number), str(path))

    monkeypatch.setattr(Path, "open", refuse)
    assert expected in error_of(tmp_path / "a.wav")


def test_too_long_by_its_header(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(audio, "LONGEST", 2)
    soundfile.write(tmp_path / "a.wav", tone(), RATE)
    with pytest.raises(AudioError, match="is longer than"):
        open_audio(tmp_path / "a.wav")


def test_too_long_though_no_header_said_so(tmp_path, monkeypatch) -> None:
    soundfile.write(tmp_path / "a.wav", tone(), RATE)
    recording = open_audio(tmp_path / "a.wav")
    monkeypatch.setattr(audio, "_check", lambda sound: None)
    monkeypatch.setattr(audio, "LONGEST", 2)
    with pytest.raises(AudioError, match="is longer than"):
        list(read_blocks(recording))


def test_the_readable_part_comes_before_the_error(tmp_path) -> None:
    cut("a.flac")(tmp_path / "b.flac")
    blocks = []
    with pytest.raises(AudioError, match="cut short"):
        for block in read_blocks(open_audio(tmp_path / "b.flac")):
            blocks.append(block)
    assert len(blocks) > 80  # 20 s at least


# ---- the video extra -----------------------------------------------------------------------------


def encode(path: Path, codec: str, *, seconds: float = SECONDS) -> Path:
    """A file of PyAV's kinds with the tone in it."""
    av = pytest.importorskip("av")
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=48_000)
        stream.layout = "mono"
        samples = tone(48_000, seconds).astype("float32")[None]
        frame = av.AudioFrame.from_ndarray(samples, format="fltp", layout="mono")
        frame.sample_rate = 48_000
        for packet in (*stream.encode(frame), *stream.encode(None)):
            container.mux(packet)
    return path


@pytest.mark.parametrize(
    ("name", "codec"),
    [
        ("a.m4a", "aac"),
        ("a.aac", "aac"),
        ("a.mp4", "aac"),
        ("a.mkv", "aac"),
        ("a.mov", "pcm_s16le"),
    ],
)
def test_video_and_aac(tmp_path, name, codec) -> None:
    path = encode(tmp_path / name, codec)
    samples = heard(path)
    assert abs(len(samples) / RATE - SECONDS) < 0.1
    spectrum = np.abs(np.fft.rfft(samples[RATE : 2 * RATE]))
    assert spectrum.argmax() == 440  # one second: bins are hertz


@pytest.mark.parametrize(
    ("name", "expected"),
    [("a.m4a", "looks like M4A or MP4, but is damaged"), ("a.mka", "of 40.0 seconds can be read")],
)
def test_aac_that_is_cut_short(tmp_path, capfd, name, expected) -> None:
    path = encode(tmp_path / name, "aac", seconds=40)
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 3 // 5])
    assert expected in error_of(path)
    assert capfd.readouterr().err == ""


def test_video_without_sound(tmp_path) -> None:
    av = pytest.importorskip("av")
    with av.open(str(tmp_path / "a.mp4"), "w") as container:
        stream = container.add_stream("mpeg4", rate=5)
        stream.width = stream.height = 32
        stream.pix_fmt = "yuv420p"
        frame = av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), "uint8"), format="rgb24")
        for packet in (*stream.encode(frame), *stream.encode(None)):
            container.mux(packet)
    assert "has no sound track" in error_of(tmp_path / "a.mp4")


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"\0\0\0\x1cftypM4A \0\0\2\0", "M4A or MP4"),
        (b"\xff\xf1\x60\x40", "AAC"),
        (b"\x1a\x45\xdf\xa3", "Matroska or WebM"),
    ],
)
def test_without_the_extra_the_command_that_installs_it_is_named(
    tmp_path, monkeypatch, head, kind
) -> None:
    monkeypatch.setitem(sys.modules, "av", None)  # as if it were not installed
    (tmp_path / "a").write_bytes(head + bytes(100))
    said = error_of(tmp_path / "a")
    assert f"looks like {kind}" in said and "pip install 'talklog[video]'" in said


def test_what_soundfile_reads_needs_no_extra(tmp_path, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "av", None)
    soundfile.write(tmp_path / "a.mp3", tone(), RATE)
    assert len(heard(tmp_path / "a.mp3"))


def test_importing_loads_no_library() -> None:
    code = "import sys, talklog.audio; print({'numpy', 'soundfile', 'soxr', 'av'} & {*sys.modules})"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "set()"
