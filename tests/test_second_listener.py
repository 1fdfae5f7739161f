"""A second listener: found or not, what it is given, and what becomes of what it writes."""

import sys
import types
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from talklog.audio import RATE
from talklog.errors import ModelError
from talklog.second_listener import SecondListener
from talklog.transcript import SECOND, Source, Transcript, Word

WORDS = "the play is two hundred and four thou so okay".split()  # noqa: SIM905
SAID = Transcript(
    Source("audio", "x.wav", "0" * 64, 6.0, "scripted", "x"),
    tuple(Word(word, at * 0.5, at * 0.5 + 0.4, 1.0) for at, word in enumerate(WORDS)),
)


@dataclass
class Segment:
    text: str


class Whisper:
    """Writes what it is told to."""

    text = " The play is 200 and 4 thou."
    calls: list = []  # noqa: RUF012

    def __init__(self, folder: str, *, device: str, compute_type: str, local_files_only: bool):
        assert local_files_only, "it could be downloaded"

    def transcribe(self, sound, **settings):
        assert settings["language"] == "en"
        self.calls.append(sound)
        return iter([Segment(self.text)]), None


@pytest.fixture
def weights(tmp_path, monkeypatch) -> Path:
    module = types.ModuleType("faster_whisper")
    module.WhisperModel = Whisper
    monkeypatch.setitem(sys.modules, "faster_whisper", module)
    monkeypatch.setattr(Whisper, "calls", [])
    (tmp_path / "model.bin").write_bytes(b"")
    return tmp_path


@pytest.fixture
def recording(tmp_path) -> Path:
    sound = np.random.default_rng(1).normal(0, 0.1, 6 * RATE)
    soundfile.write(tmp_path / "x.wav", sound, RATE)
    return tmp_path / "x.wav"


def test_it_hears_the_seconds_of_a_number_and_its_figures_are_read(weights, recording) -> None:
    found = SecondListener(weights).listen(recording, SAID)
    assert found.words == SAID.words
    (hearing,) = found.again
    assert hearing.how == SECOND
    assert " ".join(text for text, _, _ in hearing.ways[0].words) == "the play is 204 thou"
    (sound,) = Whisper.calls
    assert sound.dtype == np.float32 and abs(sound).max() <= 1
    assert 2 * RATE < len(sound) < 6 * RATE


def test_nothing_heard_is_no_number(weights, recording, monkeypatch) -> None:
    monkeypatch.setattr(Whisper, "text", "")
    (hearing,) = SecondListener(weights).listen(recording, SAID).again
    assert hearing.ways[0].words == ()


def test_without_weights_or_program_it_says_what_to_do(tmp_path, weights, monkeypatch) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(ModelError, match=r"model\.bin is missing.*recordings stand before"):
        SecondListener(tmp_path / "empty")
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(ModelError, match=r"no weights\. Install it with pip"):
        SecondListener()
    monkeypatch.setitem(sys.modules, "faster_whisper", None)
    with pytest.raises(ModelError, match=r"not installed.*second-listener"):
        SecondListener(weights)


def test_broken_weights_are_told(weights, monkeypatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("no such model")

    monkeypatch.setattr(sys.modules["faster_whisper"], "WhisperModel", broken)
    with pytest.raises(ModelError, match="cannot load"):
        SecondListener(weights)
