"""Sounds that are not a clear voice: music, hiss, a telephone, and a very long recording."""

from __future__ import annotations

import time
from pathlib import Path

import jiwer
import numpy as np
import pytest
import soundfile
import soxr

from talklog.assemble import understand
from talklog.audio import RATE
from talklog.recognise import Recogniser

pytestmark = pytest.mark.speech
SAMPLE = Path(__file__).parents[1] / "sample_audio" / "lathe.flac"
# Lines that carry 300 to 3,400 Hz, the telephone band of ITU-T G.712 (from memory, not checked).
TELEPHONE = (300, 3_400)


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return Recogniser()


@pytest.fixture(scope="module")
def spoken() -> np.ndarray:
    sound, rate = soundfile.read(SAMPLE)
    assert rate == RATE
    return sound


def words(transcript) -> str:
    return " ".join(word.text for word in transcript.words)


def chords(seconds: int) -> np.ndarray:
    """Four chords of three notes with five overtones each, a second long, over and over."""
    time_axis = np.arange(RATE) / RATE
    fade = np.minimum(1, 20 * np.minimum(time_axis, 1 - time_axis))
    roots = [[0, 4, 7], [5, 9, 12], [7, 11, 14], [9, 12, 16]]
    bars = [
        fade
        * sum(
            np.sin(2 * np.pi * 220 * 2 ** (step / 12) * k * time_axis) / k
            for step in notes
            for k in range(1, 6)
        )
        for notes in roots
    ]
    return np.tile(np.concatenate(bars), seconds // 4 + 1)[: seconds * RATE] * 0.1


def test_music_gives_no_sure_reading(recogniser, tmp_path) -> None:
    soundfile.write(tmp_path / "music.wav", chords(12), RATE)
    notes = understand(recogniser.hear(tmp_path / "music.wav"))
    assert not [reading for reading in notes.readings if reading.doubt is None]


def test_hiss_alone_gives_no_reading(recogniser, tmp_path) -> None:
    hiss = np.random.default_rng(2).normal(0, 2e-4, 6 * RATE)
    soundfile.write(tmp_path / "hiss.wav", hiss, RATE)
    assert not understand(recogniser.hear(tmp_path / "hiss.wav")).readings


def test_a_telephone_line_costs_words_but_adds_no_wrong_reading(
    recogniser, spoken, tmp_path
) -> None:
    from scipy.signal import butter, sosfilt

    band = butter(4, TELEPHONE, "bandpass", fs=RATE, output="sos")
    at_8000 = soxr.resample(sosfilt(band, spoken), RATE, 8_000)
    soundfile.write(tmp_path / "line.wav", at_8000, 8_000, subtype="ULAW")
    whole, line = (recogniser.hear(path) for path in (SAMPLE, tmp_path / "line.wav"))
    assert jiwer.wer(words(whole), words(line)) < 0.6
    said = {(r.value, r.unit) for r in understand(whole).readings}
    sure = {(r.value, r.unit) for r in understand(line).readings if r.doubt is None}
    assert sure <= said


@pytest.mark.slow
def test_half_an_hour_is_heard_to_its_end(recogniser, spoken, tmp_path) -> None:
    times = 30 * 60 * RATE // len(spoken) + 1
    soundfile.write(tmp_path / "long.flac", np.tile(spoken, times), RATE)
    began = time.process_time()
    heard = recogniser.hear(tmp_path / "long.flac")
    work = time.process_time() - began
    assert heard.source.seconds > 30 * 60
    assert work < 0.2 * heard.source.seconds
    starts = [word.start for word in heard.words]
    assert starts == sorted(starts) and starts[-1] > heard.source.seconds - 15
    begun = (times - 1) * len(spoken) / RATE
    last = [word.text for word in heard.words if word.start > begun - 0.3]
    once = words(recogniser.hear(SAMPLE))
    assert jiwer.wer(once, " ".join(last)) < 0.15
    covered = max(hearing.end for hearing in heard.again)
    assert covered > heard.source.seconds - 15
