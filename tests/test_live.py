"""Listening live: what is told when, the hands-free words, and what is on the disk by then."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from talklog.audio import RATE, open_audio, read_blocks
from talklog.errors import AudioError, DataFileError
from talklog.handsfree import COMMANDS, DROP, find_commands, obey, parse
from talklog.live import alerts, session, sources
from talklog.live.alerts import Alerts
from talklog.live.growing import GrowingRecording
from talklog.live.listening import Listening
from talklog.live.session import Event, Session
from talklog.pipeline import record_of
from talklog.recognise import Listener
from talklog.sheets import sheet_in
from talklog.transcript import Source, Transcript, Word
from tests.scripted import ScriptedEngine

BLOCK = bytes(RATE // 5)  # a tenth of a second of silence
LOUD = (1000).to_bytes(2, "little") * (RATE // 10)
SHEET = """
[machine]
key = "heron"
name = "Van Heron"
kind = "van"
[[band]]
quantity = "pressure"
component = "tyre"
low = 30
high = 35
unit = "psi"
source = "invented for this test"
"""


@pytest.fixture
def sheet(tmp_path):
    path = tmp_path / "heron.toml"
    path.write_text(SHEET)
    return sheet_in(path)


def said(text: str, start: float, *, each: float = 0.2) -> list[tuple[str, float, float]]:
    words = text.split()
    return [(w, start + each * at, start + each * (at + 1)) for at, w in enumerate(words)]


def phrases(*spoken: tuple[float, str]) -> ScriptedEngine:
    """(second at which it begins, its words); each ends 1.4 s after its last word, as Vosk does."""
    script = [(start + 0.2 * len(text.split()) + 1.4, said(text, start)) for start, text in spoken]
    return ScriptedEngine(*script)


def listened(engine: ScriptedEngine, sheet, seconds: float) -> list[tuple[float, Event]]:
    live = Session(Listener(engine), lambda heard: record_of(heard, sheet=sheet))
    events = []
    for at in range(int(seconds * 10)):
        events += [((at + 1) / 10, event) for event in live.feed(BLOCK)]
    return events + [(seconds, event) for event in live.finish()]


def readings(events) -> list[tuple[str, str]]:
    kinds = ("reading", "changed", "gone")
    return [(e.kind, e.text.split("  ")[0]) for _, e in events if e.kind in kinds]


def test_a_reading_is_told_within_a_second_and_a_half_of_its_phrase(sheet) -> None:
    text = "rear tyre twenty eight psi"
    events = listened(phrases((1.0, text)), sheet, 5)
    told = [(at, e) for at, e in events if e.kind == "reading"]
    assert [(e.level, "LOW" in e.text) for _, e in told] == [("out", True)]
    ended = 1.0 + 0.2 * len(text.split())
    assert told[0][0] - ended <= 1.5


def test_a_reading_without_its_unit_is_not_told_before_the_phrase_has_ended(sheet) -> None:
    events = listened(phrases((1.0, "wheel nut torqued to one sixty")), sheet, 6)
    first = next(at for at, e in events if e.kind == "reading")
    ended = next(at for at, e in events if e.kind == "words")
    assert first >= ended


def test_a_correction_is_told_as_one(sheet) -> None:
    spoken = (1.0, "rear tyre twenty eight psi"), (4.5, "no make that thirty two psi")
    events = listened(phrases(*spoken), sheet, 9)
    kinds = [kind for kind, _ in readings(events)]
    assert kinds[0] == "reading" and "gone" in kinds
    assert "32" in readings(events)[-1][1] or "32" in readings(events)[-2][1]


def test_drop_sets_the_last_reading_aside_live_and_in_the_record(sheet) -> None:
    spoken = (1.0, "front tyre thirty three psi"), (4.5, "rear tyre twenty eight psi")
    drop = (8.5, "scratch the last reading")
    events = listened(phrases(*spoken, drop), sheet, 13)
    assert readings(events)[-1][0] == "gone" and "28" in readings(events)[-1][1]
    words = tuple(Word(w) for _, text in (*spoken, drop) for w in text.split())
    record = record_of(Transcript(Source("audio", "x", "0" * 64, 13.0), words), sheet=sheet)
    assert [r.value for r in record.readings] == ["33"]
    assert ("superseded", "rear tyre twenty eight psi") in [
        (s.why, s.heard if "tyre" in s.heard else f"rear tyre {s.heard}") for s in record.set_aside
    ]
    assert DROP in [word.text for word in record.words]


def test_what_is_said_while_paused_is_neither_told_nor_written(sheet, tmp_path) -> None:
    engine = phrases(
        (1.0, "stop listening now"), (5.0, "rear tyre ten psi"), (9.0, "start listening again"),
        (13.0, "rear tyre thirty three psi"),
    )  # fmt: skip
    live = Session(Listener(engine), lambda heard: record_of(heard, sheet=sheet))
    shown: list[Event] = []
    recording = GrowingRecording(tmp_path / "note.wav")
    Listening(live, recording, Alerts(play=None, say=None), shown.append).run([BLOCK] * 170)
    assert [e.text for e in shown if e.kind == "command"] == ["pause", "go_on"]
    told = [e.text for e in shown if e.kind == "reading"]
    assert len(told) == 1 and "33" in told[0]
    # 3 s to the end of the pause phrase, then a second of silence and what follows the other one.
    assert 9.0 < recording.seconds < 11.5


def test_finish_by_voice_ends_the_session(sheet, tmp_path) -> None:
    live = Session(Listener(phrases((1.0, "stop recording now"))), lambda h: record_of(h))
    fed = iter([BLOCK] * 100)
    recording = GrowingRecording(tmp_path / "note.wav")
    Listening(live, recording, Alerts(play=None, say=None), lambda event: None).run(fed)
    assert live.finished and len(list(fed)) > 50


def test_a_long_session_does_not_slow_down_and_forgets_nothing_it_told(sheet, monkeypatch) -> None:
    monkeypatch.setattr(session, "WINDOW", 60)
    monkeypatch.setattr(session, "CONTEXT", 30)
    count, values = 40, ("one", "two", "three", "four")
    spoken = [(6.0 * n, f"rear tyre thirty {values[n % 4]} psi") for n in range(count)]
    lengths: list[int] = []

    def understood(heard: Transcript):
        lengths.append(len(heard.words))
        return record_of(heard, sheet=sheet)

    live = Session(Listener(phrases(*spoken)), understood)
    events = [event for _ in range(int(count * 6)) for event in live.feed(BLOCK * 10)]
    told = [e for e in events if e.kind == "reading"]
    assert len(told) >= count - 1
    assert not [e for e in events if e.kind == "gone"]
    assert max(lengths) <= session.WINDOW + 10


# ---- hands-free words ----------------------------------------------------------------------------


def test_a_command_becomes_one_word_and_typed_text_has_none() -> None:
    text = "gap ten scratch the last reading"
    words = tuple(Word(w, n, n + 1.0) for n, w in enumerate(text.split()))
    heard = obey(Transcript(Source("audio", "x", "0" * 64), words)).words
    assert [w.text for w in heard] == ["gap", "ten", "[drop]"]
    assert (heard[-1].start, heard[-1].end) == (2, 6.0)
    typed = Transcript(Source("text", "x", "0" * 64), words)
    assert obey(typed) == typed


def test_every_command_has_a_phrase_and_phrases_are_whole() -> None:
    for name in COMMANDS:
        assert any(n == name for _, n in parse(_handsfree()))
    other = "stop listening to that noise now"
    assert not find_commands([Word(w) for w in other.split()])


def _handsfree() -> str:
    from importlib.resources import files

    return (files("talklog") / "data" / "handsfree.toml").read_text("utf-8")


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("x = [", "command"),
        ("[command]\npause = []", "the commands must be"),
        (_handsfree().replace('"stop recording now"', '"finished"'), "one word"),
    ],
)
def test_a_broken_file_of_phrases_is_refused(text: str, part: str) -> None:
    with pytest.raises(DataFileError, match=part):
        parse(text)


# ---- the recording on the disk -------------------------------------------------------------------

WRITER = """
import sys
from pathlib import Path
from talklog.live.growing import GrowingRecording
recording = GrowingRecording(Path(sys.argv[1]))
for n in range(100000):
    recording.write((n % 100).to_bytes(2, "little") * 1600)
    print(recording.seconds, flush=True)
"""


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL")
@pytest.mark.parametrize("moment", [0.02, 0.1, 0.25])
def test_killed_in_the_middle_the_recording_opens_up_to_the_last_second(tmp_path, moment) -> None:
    path = tmp_path / "note.wav"
    command = [sys.executable, "-c", WRITER, str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        written = float(writer.stdout.readline())
        time.sleep(moment)
        writer.send_signal(signal.SIGKILL)
        written = max([written, *(float(line) for line in writer.stdout if line.strip())])
    heard = b"".join(read_blocks(open_audio(path)))
    assert written - 1.0 <= len(heard) / 2 / RATE <= written + 0.2


def test_a_closed_recording_is_a_plain_wav_of_its_length(tmp_path) -> None:
    soundfile = pytest.importorskip("soundfile")
    recording = GrowingRecording(tmp_path / "note.wav")
    for _ in range(25):
        recording.write(BLOCK)
    recording.close()
    told = soundfile.info(recording.path)
    assert (told.samplerate, told.channels, told.frames) == (RATE, 1, 25 * RATE // 10)


def test_a_recording_that_is_there_is_not_touched(tmp_path) -> None:
    (tmp_path / "note.wav").write_bytes(b"mine")
    with pytest.raises(AudioError, match="is there already"):
        GrowingRecording(tmp_path / "note.wav")
    assert (tmp_path / "note.wav").read_bytes() == b"mine"


def test_a_full_disk_is_told_and_what_was_written_stays(tmp_path, monkeypatch) -> None:
    recording = GrowingRecording(tmp_path / "note.wav")
    for _ in range(20):
        recording.write(LOUD)

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(AudioError, match=r"No space left.*up to now"):
        for _ in range(20):
            recording.write(LOUD)
    assert len(b"".join(read_blocks(open_audio(recording.path)))) >= 20 * len(BLOCK)


# ---- sound, in and out ---------------------------------------------------------------------------


def test_a_file_comes_at_the_speed_it_was_spoken_at(tmp_path) -> None:
    recording = GrowingRecording(tmp_path / "note.wav")
    recording.write(LOUD * 20)
    recording.close()
    slept: list[float] = []
    blocks = list(sources.from_file(recording.path, sleep=slept.append))
    assert b"".join(blocks) == LOUD * 20
    assert slept and 1.5 < max(slept) <= 2.0  # nobody really slept: the last waits for all of it


def test_without_a_microphone_the_words_say_what_to_do(monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(AudioError, match=r"talklog\[microphone\].*--from-file"):
        next(sources.from_microphone())


def test_tones_are_distinct_and_no_louder_than_meant() -> None:
    out, ask = alerts.tone("out"), alerts.tone("ask")
    assert out != ask and alerts.tone("") == b""
    samples = memoryview(out).cast("h")
    assert 0.2 * 32767 < max(samples) <= alerts.VOLUME * 32767
    assert len(out) / 2 / alerts.TONE_RATE == pytest.approx(alerts.seconds_of("out"), abs=0.01)


def test_what_talklog_says_itself_is_not_heard(sheet, tmp_path) -> None:
    live = Session(
        Listener(phrases((0.5, "rear tyre twenty eight psi"))),
        lambda heard: record_of(heard, sheet=sheet),
    )
    spoken: list[str] = []
    recording = GrowingRecording(tmp_path / "note.wav")
    sounding = Alerts(play=None, say=spoken.append)
    Listening(live, recording, sounding, lambda event: None).run([LOUD] * 140)
    assert "LOW" in spoken[0]
    heard = b"".join(read_blocks(open_audio(recording.path)))
    silent = heard.count(bytes(len(LOUD)))
    assert silent >= 10 * len(spoken) and heard[-2:] != b"\0\0"


@pytest.mark.speech
def test_the_record_of_a_live_note_is_that_of_take(tmp_path) -> None:
    """Real recognition; the note comes as fast as it can be heard."""
    root = Path(__file__).parents[1]
    sample, kept = root / "sample_audio" / "lathe.flac", tmp_path / "kept.wav"
    run = [sys.executable, "-m", "talklog"]
    options = ["--bands", str(sample.with_suffix(".toml")), "--format", "json"]
    live = subprocess.run(
        [*run, "listen", "--from-file", sample, "--speed", "1000", "--quiet", "--keep", kept,
         *options],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    take = subprocess.run(
        [*run, "take", kept, *options], capture_output=True, text=True, check=True
    )
    assert _without_time(live.stdout) == _without_time(take.stdout)
    assert "!!" in live.stderr or "  in band" in live.stderr


def _without_time(text: str) -> dict:
    import json

    record = json.loads(text)
    record.pop("made_at")
    return record
