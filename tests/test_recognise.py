"""From samples to words: pauses, utterances, model folders; then the real recogniser.

What a Vosk model folder holds is from memory of its loader, checked by loading one here.
"""

import json
import shutil
import socket
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from jiwer import wer
from scripted import ScriptedEngine

from talklog import recognise as module
from talklog.audio import BLOCK, RATE, Recording
from talklog.errors import AudioError, ModelError
from talklog.recognise import UNKNOWN, Listener, Recogniser, VoskEngine, find_model, recognise

SILENCE = bytes(2 * BLOCK)  # a quarter of a second
RECORDING = Recording(Path("bench/gap.wav"), "gap.wav", "ab" * 32, 3.0)
# One value in two utterances, as a pause for breath makes them.
GAP = (
    (1.5, [("inlet", 0.3, 0.6), ("twelve", 0.6, 1.0)]),
    (9.0, [("thou", 2.2, 2.5)]),
)


def hear(*script: tuple, seconds: float = 3.0) -> module.Transcript:
    blocks = [SILENCE] * round(seconds * RATE / BLOCK)
    return recognise(RECORDING, blocks, ScriptedEngine(*script))


# ---- words ---------------------------------------------------------------------------------------


def test_utterances_are_joined_on_one_time_axis_with_the_pause_between() -> None:
    words = hear(*GAP).words
    assert [(word.text, word.start, word.end, word.pause_before) for word in words] == [
        ("inlet", 0.3, 0.6, 0.3),
        ("twelve", 0.6, 1.0, 0.0),
        ("thou", 2.2, 2.5, 1.2),
    ]
    assert {word.confidence for word in words} == {0.75}


def test_the_source_says_what_was_heard_by_what() -> None:
    source = hear(*GAP, seconds=2.75).source
    assert (source.kind, source.name, source.sha256) == ("audio", "gap.wav", "ab" * 32)
    assert source.seconds == 2.75  # counted, not what the header said
    assert (source.engine, source.model) == ("scripted 1", "script 00000000")


def test_nothing_said_is_a_transcript_without_words() -> None:
    assert hear((1.0, [])).words == ()
    assert hear().words == ()


@pytest.mark.parametrize("mark", ["<unk>", "[unk]", "<UNK>"])
def test_a_word_the_model_does_not_know_keeps_its_place(mark) -> None:
    """Left out, it would let a number reach across to a unit that is not its own."""
    words = hear((2.0, [("twelve", 0.1, 0.5), (mark, 0.5, 0.9), ("thou", 0.9, 1.2)])).words
    assert [word.text for word in words] == ["twelve", UNKNOWN, "thou"]
    assert words[2].pause_before == 0


@pytest.mark.parametrize("mark", ["[noise]", "<sil>", "[laughter]", "!SIL"])
def test_a_sound_is_no_word_but_the_time_it_took_is_a_pause(mark) -> None:
    words = hear((2.0, [("twelve", 0.1, 0.5), (mark, 0.5, 1.1), ("thou", 1.2, 1.5)])).words
    assert [word.text for word in words] == ["twelve", "thou"]
    assert words[1].pause_before == pytest.approx(0.7)


def test_words_are_lower_case_and_never_before_the_recording() -> None:
    (word,) = hear((1.0, [("OK", -0.03, 0.2)])).words
    assert (word.text, word.start) == ("ok", 0.0)


def test_the_listener_gives_words_when_an_utterance_ends() -> None:
    listener = Listener(ScriptedEngine(*GAP))
    given = [[word.text for word in listener.feed(SILENCE)] for _ in range(10)]
    assert given == [[]] * 5 + [["inlet", "twelve"]] + [[]] * 4
    assert listener.seconds == 2.5
    assert listener.partial() == "thou"
    assert [word.text for word in listener.finish()] == ["thou"]


def test_progress_is_told_block_by_block() -> None:
    told = []
    blocks = [SILENCE] * 4
    recognise(RECORDING, blocks, ScriptedEngine(), on_progress=lambda *both: told.append(both))
    assert told == [(0.25, 3.0), (0.5, 3.0), (0.75, 3.0), (1.0, 3.0), (1.0, 1.0)]


def test_a_recording_that_breaks_off_gives_its_error_and_no_words() -> None:
    def breaks_off():
        yield SILENCE
        raise AudioError("gap.wav: is cut short")

    with pytest.raises(AudioError, match="cut short"):
        recognise(RECORDING, breaks_off(), ScriptedEngine(*GAP))


def test_every_note_gets_a_recogniser_of_its_own_and_is_ended_once(tmp_path) -> None:
    engine = ScriptedEngine((0.5, [("one", 0.1, 0.4)]))
    sound = np.random.default_rng(1).normal(0, 0.1, RATE)
    for name in ("a.wav", "b.wav"):
        soundfile.write(tmp_path / name, sound, RATE)
    recogniser = Recogniser(engine=engine)
    both = [recogniser.hear(tmp_path / name) for name in ("a.wav", "b.wav")]
    assert [note.source.name for note in both] == ["a.wav", "b.wav"]
    assert both[0].words == both[1].words
    assert [stream.finished for stream in engine.streams] == [1, 1]


def test_importing_loads_no_recogniser() -> None:
    code = "import sys, talklog.recognise; print({'vosk', 'numpy', 'requests'} & {*sys.modules})"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "set()"


# ---- model folders -------------------------------------------------------------------------------

COMMON = ["am/final.mdl", "conf/model.conf", "conf/mfcc.conf"]
STATIC = [*COMMON, "graph/HCLG.fst", "graph/words.txt"]
DYNAMIC = [*COMMON, "graph/HCLr.fst", "graph/Gr.fst"]
FLAT = ["final.mdl", "mfcc.conf", "HCLG.fst", "words.txt"]


def folder_with(root: Path, names: list[str]) -> Path:
    for name in names:
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(b"--endpoint.silence-phones=1\nno model")
    return root


def refusal(folder: Path | None) -> str:
    with pytest.raises(ModelError) as caught:
        find_model(folder)
    return str(caught.value)


@pytest.fixture(autouse=True)
def nowhere(monkeypatch, request) -> None:
    if "speech" not in request.keywords:
        monkeypatch.delenv("TALKLOG_MODEL", raising=False)


@pytest.mark.parametrize("names", [STATIC, DYNAMIC, FLAT], ids=["static", "dynamic", "flat"])
def test_every_layout_is_taken_and_every_part_is_needed(tmp_path, names) -> None:
    whole = folder_with(tmp_path / "whole", names)
    assert find_model(whole) == whole
    for index, missing in enumerate(names):
        part = folder_with(tmp_path / str(index), [name for name in names if name != missing])
        said = refusal(part)
        assert said.startswith(f"{part}: ") and missing.rsplit("/")[-1] in said


def test_the_order_in_which_models_are_looked_for(tmp_path, monkeypatch) -> None:
    given, named, installed, checkout = (
        folder_with(tmp_path / name, STATIC) for name in ("given", "named", "installed", "checkout")
    )
    monkeypatch.setattr(module, "_own_folders", lambda: (installed, checkout))
    monkeypatch.setenv("TALKLOG_MODEL", str(named))
    assert find_model(given) == given
    assert find_model() == named
    monkeypatch.setenv("TALKLOG_MODEL", "")
    assert find_model() == installed
    shutil.rmtree(installed)
    assert find_model() == checkout
    shutil.rmtree(checkout)
    assert "there is no speech model" in refusal(None)


def test_a_wrong_name_is_not_passed_over_for_the_next(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("TALKLOG_MODEL", str(tmp_path / "gone"))
    assert f"{tmp_path / 'gone'} (named by TALKLOG_MODEL): there is no such folder" in refusal(None)


def test_a_model_one_level_down_is_pointed_at(tmp_path) -> None:
    folder_with(tmp_path / "zip" / "english-2", STATIC)
    assert f"The model seems to be {tmp_path / 'zip' / 'english-2'}" in refusal(tmp_path / "zip")


def test_settings_without_which_vosk_would_end_the_program(tmp_path) -> None:
    folder = folder_with(tmp_path, STATIC)
    (folder / "conf" / "model.conf").write_text("--beam=10\n")
    assert "model.conf: --endpoint.silence-phones=... is missing" in refusal(folder)


def test_a_damaged_model_is_an_error_of_ours_and_nothing_else_is_said(tmp_path, capfd) -> None:
    folder = folder_with(tmp_path / "broken", STATIC)
    with pytest.raises(ModelError, match="is not a speech model that Vosk can load"):
        VoskEngine(find_model(folder))
    assert capfd.readouterr().err == ""


def test_vosk_that_cannot_start_is_told(monkeypatch, tmp_path) -> None:
    monkeypatch.setitem(sys.modules, "vosk", None)
    with pytest.raises(ModelError, match="Vosk cannot be started"):
        VoskEngine(tmp_path)


# ---- the real recogniser -------------------------------------------------------------------------

SAMPLE = Path(__file__).parents[1] / "sample_audio" / "lathe.flac"


@pytest.fixture(scope="module")
def spoken() -> np.ndarray:
    """A spoken note, 16 kHz."""
    samples, rate = soundfile.read(SAMPLE)
    assert rate == RATE
    return samples


@pytest.fixture(scope="module")
def heard(recogniser: Recogniser) -> module.Transcript:
    return recogniser.hear(SAMPLE)


def text(transcript: module.Transcript) -> str:
    return " ".join(word.text for word in transcript.words)


@pytest.mark.speech
def test_the_engine_and_the_model_are_named(heard, speech_model) -> None:
    assert heard.source.engine.startswith("vosk 0.3.")
    name, fingerprint = heard.source.model.split()
    assert name == speech_model.name and len(bytes.fromhex(fingerprint)) == 4


@pytest.mark.speech
def test_a_note_is_heard_alike_whatever_was_heard_before(recogniser, heard) -> None:
    other = recogniser.hear(SAMPLE.with_name("van.flac"))
    assert other.words != heard.words
    assert recogniser.hear(SAMPLE) == heard


@pytest.mark.speech
def test_times_stay_right_after_a_long_pause(recogniser, heard, spoken, tmp_path) -> None:
    """Two minutes of quiet: the recogniser ends utterances in between and starts its count anew."""
    quiet = np.random.default_rng(1).normal(0, 1e-4, 120 * RATE)
    soundfile.write(tmp_path / "a.wav", np.concatenate((spoken, quiet, spoken)), RATE)
    words = recogniser.hear(tmp_path / "a.wav").words
    offset = len(spoken) / RATE + 120
    again = [replace(word, start=word.start - offset) for word in words if word.start > offset - 1]
    assert wer(text(heard), " ".join(word.text for word in again)) < 0.1
    first = {word.text: word.start for word in reversed(heard.words)}
    shifts = [abs(word.start - first[word.text]) for word in reversed(again) if word.text in first]
    assert np.median(shifts) < 0.1
    assert max(word.pause_before for word in words) > 119


@pytest.mark.speech
def test_exact_zeros_around_a_note_cost_no_word(recogniser, heard, spoken, tmp_path) -> None:
    zeros = np.zeros(2 * RATE)
    soundfile.write(tmp_path / "a.wav", np.concatenate((zeros, spoken, zeros)), RATE)
    words = recogniser.hear(tmp_path / "a.wav").words
    assert abs(len(words) - len(heard.words)) <= 1
    assert words[0].text == heard.words[0].text
    assert words[-1].end - 2 == pytest.approx(heard.words[-1].end, abs=0.2)


@pytest.mark.speech
def test_stereo_at_another_rate_is_heard_alike(recogniser, heard, spoken, tmp_path) -> None:
    import soxr

    at_44100 = soxr.resample(spoken, RATE, 44_100)
    soundfile.write(tmp_path / "a.flac", np.stack([at_44100, -at_44100], axis=1), 44_100)
    assert wer(text(heard), text(recogniser.hear(tmp_path / "a.flac"))) < 0.1


@pytest.mark.speech
def test_a_listener_hears_what_the_whole_is_heard_to_be(recogniser, heard, spoken) -> None:
    samples = np.rint(spoken * 32767).astype("int16")
    listener = recogniser.listener()
    words = [
        w
        for at in range(0, len(samples), BLOCK)
        for w in listener.feed(samples[at:][:BLOCK].tobytes())
    ]
    words += listener.finish()
    assert wer(text(heard), " ".join(word.text for word in words)) < 0.1
    assert json.dumps(listener.partial()) == '""'


@pytest.mark.speech
def test_nothing_looks_for_the_network(speech_model, monkeypatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a socket was asked for")

    monkeypatch.setattr(socket, "socket", refuse)
    assert Recogniser(speech_model).hear(SAMPLE).words
