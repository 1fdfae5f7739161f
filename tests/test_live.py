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
from talklog.handsfree import ASIDE, COMMANDS, DROP, find_commands, obey, parse
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


def test_a_reading_without_its_unit_waits_a_little_longer(sheet) -> None:
    text = "wheel nut torqued to one sixty"
    events = listened(phrases((1.0, text)), sheet, 6)
    first = next(at for at, e in events if e.kind == "reading")
    ended = 1.0 + 0.2 * len(text.split())
    assert ended + session.LONG_STILL <= first <= ended + 1.5


def test_a_quotation_does_not_reach_into_the_next_phrase_told_early(sheet) -> None:
    spoken = (1.0, "the book says front tyre thirty five psi"), (6.0, "rear tyre twenty eight psi")
    events = listened(phrases(*spoken), sheet, 10)
    first = next(at for at, e in events if e.kind == "reading")
    assert first <= 6.0 + 0.2 * 5 + session.STILL + 0.2


def test_a_phrase_that_the_recogniser_ends_late_is_told_in_time(sheet) -> None:
    engine = ScriptedEngine((4.6, said("oil level forty", 1.0)))  # ends two seconds after its words
    events = listened(engine, sheet, 6)
    assert next(at for at, e in events if e.kind == "reading") <= 1.6 + 1.5


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
    assert DROP in [word.text for word in obey(Transcript(record_source(), words)).words]
    assert [word.text for word in record.words] == [word.text for word in words]


def record_source() -> Source:
    return Source("audio", "x", "0" * 64, 13.0)


def test_drop_with_nothing_before_it_says_so(sheet) -> None:
    events = listened(phrases((1.0, "scratch the last reading")), sheet, 5)
    assert [e.text for _, e in events if e.kind == "command"] == ["no drop"]


def test_a_pause_can_be_finished_by_voice(sheet) -> None:
    spoken = (1.0, "stop listening now"), (5.0, "stop recording now")
    events = listened(phrases(*spoken), sheet, 9)
    assert [e.text for _, e in events if e.kind == "command"] == ["pause", "finish"]


def test_what_is_said_in_one_breath_with_going_on_is_told_and_written(sheet, tmp_path) -> None:
    text = "what a day start listening now rear tyre thirty three psi"
    live = Session(
        Listener(phrases((5.0, text))), lambda heard: record_of(heard, sheet=sheet), paused=True
    )
    shown: list[Event] = []
    recording = GrowingRecording(tmp_path / "note.wav")
    Listening(live, recording, Alerts(play=None, say=None), shown.append).run([BLOCK] * 90)
    assert "33" in next(e.text for e in shown if e.kind == "reading")
    begun = 5.0 + 0.2 * 3 - 0.3  # of "start", with a little before it
    assert recording.seconds == pytest.approx(9.0 - begun, abs=0.15)


def test_the_record_says_where_it_differs_from_what_was_told(sheet) -> None:
    live = Session(
        Listener(phrases((1.0, "rear tyre twenty eight psi"))), lambda h: record_of(h, sheet=sheet)
    )
    for _ in range(50):
        list(live.feed(BLOCK))
    same, other = "rear tyre twenty eight psi", "rear tyre twenty nine psi"
    made = [record_of(spoken(text), sheet=sheet) for text in (same, other)]
    assert not list(live.against(made[0]))
    told = [(e.kind, "28" in e.text, "29" in e.text) for e in live.against(made[1])]
    assert told == [("not recorded", True, False), ("only recorded", False, True)]


def spoken(text: str) -> Transcript:
    words = text.split()
    return Transcript(
        record_source(), tuple(Word(w, n, n + 0.5, confidence=0.75) for n, w in enumerate(words))
    )


def test_a_recording_passes_over_a_pause_that_was_ended_and_says_so(sheet) -> None:
    text = "stop listening now front tyre ten psi start listening again rear tyre thirty psi"
    record = record_of(spoken(text), sheet=sheet)
    assert [(r.position, r.value) for r in record.readings] == [("rear", "30")]
    (flag,) = [flag for flag in record.flags if "paused" in flag.about]
    assert flag.level == "note" and "4 words from second 3 to 6" in flag.text


def test_a_pause_that_nobody_ended_loses_nothing(sheet) -> None:
    record = record_of(spoken("stop listening now front tyre ten psi"), sheet=sheet)
    assert [r.value for r in record.readings] == ["10"]


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
    # 3 s to the end of the pause phrase, a second of silence, and all from the other phrase on.
    assert recording.seconds == pytest.approx(3.0 + 1.0 + (17.0 - 9.0 + 0.3), abs=0.15)


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


def test_a_command_becomes_signs_and_typed_text_has_none() -> None:
    text = "gap ten scratch the last reading"
    words = tuple(Word(w, n, n + 1.0) for n, w in enumerate(text.split()))
    heard = obey(Transcript(Source("audio", "x", "0" * 64), words)).words
    assert [w.text for w in heard] == ["gap", "ten", DROP, ASIDE, ASIDE, ASIDE]
    assert [w.start for w in heard] == [w.start for w in words]
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


def test_a_recording_without_sound_leaves_no_file(tmp_path) -> None:
    recording = GrowingRecording(tmp_path / "note.wav")
    recording.close()
    assert not recording.path.exists()


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


class Pretended:
    """A sounddevice of our own: its stream gives some blocks, then nothing any more."""

    class PortAudioError(Exception):
        pass

    def __init__(self, blocks: int, *, refuses: str = "") -> None:
        self.blocks, self.refuses = blocks, refuses

    def RawInputStream(self, *, callback, blocksize, **_settings):
        if self.refuses:
            raise self.PortAudioError(self.refuses)
        for _ in range(self.blocks):
            callback(LOUD[: 2 * blocksize], blocksize, None, None)
        return Stream()


class Stream:
    active = False

    def __enter__(self):
        return self

    def __exit__(self, *_error) -> None:
        pass


def test_a_microphone_that_is_unplugged_is_told_and_its_sound_kept(
    sheet, tmp_path, monkeypatch
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", Pretended(7))
    monkeypatch.setattr(sources, "PATIENCE", 0.01)
    live = Session(Listener(ScriptedEngine()), lambda heard: record_of(heard, sheet=sheet))
    recording = GrowingRecording(tmp_path / "note.wav")
    listening = Listening(live, recording, Alerts(play=None, say=None), lambda event: None)
    with pytest.raises(AudioError, match="was unplugged"):
        listening.run(sources.from_microphone())
    assert b"".join(read_blocks(open_audio(recording.path))) == LOUD * 7


def test_a_microphone_without_the_rate_is_told(monkeypatch) -> None:
    pretended = Pretended(0, refuses="Invalid sample rate")
    monkeypatch.setitem(sys.modules, "sounddevice", pretended)
    with pytest.raises(AudioError, match=r"Invalid sample rate.*--device"):
        next(sources.from_microphone())


def test_a_voice_says_one_text_after_the_other(tmp_path) -> None:
    program = tmp_path / "voice"
    program.write_text(f'#!/bin/sh\nsleep 0.1\necho "$2" >> {tmp_path}/said\n')
    program.chmod(0o755)
    speaker = alerts.Voice(str(program))
    speaker("one")
    speaker("two")
    deadline = time.monotonic() + 10
    while speaker.busy() and time.monotonic() < deadline:
        time.sleep(0.02)
    assert (tmp_path / "said").read_text() == "one\ntwo\n"


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


@pytest.mark.speech
def test_with_real_recognition_every_reading_comes_within_a_second_and_a_half(recogniser) -> None:
    """From the end of the last word of a phrase, as heard, to the line on the screen: the sound
    fed until then, and the time this machine took over the block. A pause of STILL ends it."""
    sample = Path(__file__).parents[1] / "sample_audio" / "van.flac"
    sheet = sheet_in(sample.with_suffix(".toml"))
    live = Session(
        recogniser.listener(),
        lambda heard: record_of(heard, sheet=sheet),
        hear_again=recogniser.hear_again,
    )
    told: dict[int, float] = {}  # first word -> second
    for block in sources.from_file(sample, speed=1e6):
        begun = time.process_time()
        list(live.feed(block))
        done = live.listener.seconds + time.process_time() - begun
        told |= {first: done for first in live._shown if first not in told}
    list(live.finish())
    late = [at - phrase_end(live._words, first) for first, at in told.items()]
    print("seconds from phrase to reading:", sorted(round(seconds, 2) for seconds in late))
    assert len(late) >= 5
    assert max(late) <= 1.5


def phrase_end(words: list[Word], at: int) -> float:
    while at + 1 < len(words) and words[at + 1].pause_before < session.STILL:
        at += 1
    return words[at].end


@pytest.mark.speech
@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL")
def test_killed_while_listening_the_sound_up_to_then_can_be_taken(tmp_path, recogniser) -> None:
    sample = Path(__file__).parents[1] / "sample_audio" / "van.flac"
    kept = tmp_path / "kept.wav"
    command = [sys.executable, "-m", "talklog", "listen", "--from-file", sample, "--speed", "4"]
    with subprocess.Popen(
        [*command, "--quiet", "--keep", kept], stderr=subprocess.PIPE, text=True
    ) as live:
        next(line for line in live.stderr if "six millimetres" in line)
        live.send_signal(signal.SIGKILL)
    heard = recogniser.hear(kept)
    assert "six millimetres" in " ".join(word.text for word in heard.words)
