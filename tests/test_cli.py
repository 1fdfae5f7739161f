"""The command line: arguments, files, streams and exit status. Speech is replaced by a listener
that reads the words from the file; everything behind it is real."""

import io
import json
import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from talklog import cli
from talklog.commands import records
from talklog.errors import AudioError, TalklogError
from talklog.record import json_schema
from talklog.transcript import Source, Transcript
from talklog.typed import read_text

NOTE = "front left tyre two point two bar\n"
SHEET = """
[machine]
key = "van"
name = "Van"
[[band]]
quantity = "pressure"
component = "tyre"
low = 2.4
high = 2.6
unit = "bar"
source = "door sticker"
"""
SAID = "inlet gap nought point two five millimetres rear tyre two point two bar"


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Runs the command; gives (exit status, stdout, stderr)."""
    monkeypatch.setattr(records, "listener", lambda model, second=None: _listen)
    monkeypatch.setenv("TALKLOG_SHEETS", str(tmp_path / "sheets"))
    monkeypatch.chdir(tmp_path)

    def call(*arguments: object, stdin: bytes = b"") -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin)))
        with pytest.raises(SystemExit) as stop:
            cli.main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        return stop.value.code, out, err

    return call


def _listen(path: Path) -> Transcript:
    if not path.is_file():
        raise AudioError(f"{path}: no such recording")
    data = path.read_bytes()
    if data.startswith(b"BROKEN"):
        raise AudioError(f"{path}: not a recording")
    heard = read_text(data, name=path.name)
    words = tuple(
        replace(word, start=i * 0.5, end=i * 0.5 + 0.4, confidence=1.0, written=None)
        for i, word in enumerate(heard.words)
    )
    return Transcript(Source("audio", path.name, heard.source.sha256, 9.0, "vosk", "test"), words)


@pytest.fixture
def van(tmp_path) -> Path:
    """A recording with its band sheet beside it."""
    (tmp_path / "van.toml").write_text(SHEET)
    path = tmp_path / "van.flac"
    path.write_text(NOTE)
    return path


# ---- take ----------------------------------------------------------------------------------------


def test_take_prints_text_and_finds_the_sheet_beside(run, van) -> None:
    code, out, err = run("take", van)
    assert (code, err) == (0, "")
    assert out.startswith("SERVICE RECORD: VAN\n")
    assert "LOW" in out and "2.2 bar" in out and "door sticker" in out and "van.flac" in out


def test_take_without_a_sheet_judges_nothing(run, tmp_path) -> None:
    path = tmp_path / "x.flac"
    path.write_text(NOTE)
    code, out, _ = run("take", path)
    assert code == 0
    assert "no band" in out and "No band sheet was given" in out


def test_take_one_is_an_object_several_are_a_list(run, van, tmp_path) -> None:
    other = tmp_path / "other.wav"
    other.write_text(NOTE)
    _, one, err = run("take", van, "--format", "json")
    _, two, _ = run("take", van, other, "--format", "json")
    assert err == ""
    assert json.loads(one)["machine"] == {"key": "van", "name": "Van"}
    assert [record["machine"] for record in json.loads(two)] == [
        {"key": "van", "name": "Van"},
        None,
    ]


def test_take_goes_on_after_a_file_that_cannot_be_read(run, van, tmp_path) -> None:
    bad = tmp_path / "bad.flac"
    bad.write_bytes(b"BROKEN")
    code, out, err = run("take", bad, tmp_path / "none.flac", van, "--format", "json")
    assert code == 1
    assert [record["source"]["kind"] for record in json.loads(out)] == ["audio"]
    assert "bad.flac: not a recording" in err and "none.flac: no such" in err
    assert "Traceback" not in err


def test_take_of_nothing_readable_keeps_stdout_clean(run, tmp_path) -> None:
    assert run("take", tmp_path / "none.flac", "--format", "json")[:2] == (1, "")
    code, out, _ = run("take", tmp_path / "a.flac", tmp_path / "b.flac", "--format", "json")
    assert (code, json.loads(out)) == (1, [])


def test_a_broken_sheet_beside_stops_only_its_recording(run, van, tmp_path) -> None:
    good = tmp_path / "good.flac"
    good.write_text(NOTE)
    (tmp_path / "van.toml").write_text("[machine]\nkye = 'van'")
    code, out, err = run("take", van, good)
    assert code == 1
    assert "van.toml" in err and "kye" in err
    assert "good.flac" in out


def test_a_broken_sheet_given_stops_before_listening(run, van, tmp_path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("nonsense")
    code, out, err = run("take", van, "--bands", bad)
    assert (code, out) == (1, "")
    assert "bad.toml" in err


def test_companions_and_folders(run, van, tmp_path) -> None:
    for name in ("van.json", "van.html", "notes.md"):
        (tmp_path / name).write_text("{}")
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "deep.flac").write_text(NOTE)
    (tmp_path / "another.wav").write_text(NOTE)
    code, out, err = run("take", tmp_path, "--format", "json")
    assert (code, err) == (0, "")
    assert len(json.loads(out)) == 2, "another.wav and van.flac; not the folder in it"
    named = [tmp_path / name for name in ("van.flac", "van.json", "van.toml", "van.html")]
    code, out, err = run("take", *named, "--format", "json")
    assert (code, err) == (0, "")
    assert json.loads(out)["machine"]["key"] == "van"


def test_an_empty_folder_is_named(run, tmp_path) -> None:
    (tmp_path / "empty").mkdir()
    code, _, err = run("take", tmp_path / "empty")
    assert code == 1
    assert "empty: no recordings" in err


def test_a_band_sheet_alone_is_not_passed_over(run, van, tmp_path) -> None:
    (tmp_path / "lonely.toml").write_bytes(b"BROKEN")
    code, _, err = run("take", van, tmp_path / "lonely.toml")
    assert code == 1
    assert "lonely.toml" in err


def test_machine_is_found_by_its_key(run, tmp_path) -> None:
    path = tmp_path / "x.flac"
    path.write_text(NOTE)
    (tmp_path / "sheets").mkdir()
    (tmp_path / "sheets" / "any name.toml").write_text(SHEET)
    code, out, _ = run("take", path, "--machine", "van", "--format", "json")
    assert code == 0
    assert json.loads(out)["readings"][0]["verdict"] == "low"
    code, out, err = run("take", path, "--machine", "boat")
    assert (code, out) == (1, "")
    assert "boat" in err and "known there: van" in err and "--bands" in err
    (tmp_path / "sheets" / "twice.toml").write_text(SHEET)
    code, _, err = run("take", path, "--machine", "van")
    assert code == 1
    assert "twice.toml" in err


@pytest.mark.parametrize(
    "arguments",
    [
        ("take",),
        ("take", "a.flac", "--format", "pdf"),
        ("take", "a.flac", "--machine", "x", "--bands", "y"),
        ("take", "a.flac", "b.flac", "--format", "html"),
        ("read",),
        ("read", "a.txt", "b.txt"),
        ("nonsense",),
        ("bands", "check"),
        ("hear", "a.flac", "--format", "html"),
        ("take", "--colour", "a.flac"),
    ],
)
def test_wrong_use_is_2(run, arguments) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert "Usage" in err


# ---- --out ---------------------------------------------------------------------------------------


def test_out_writes_all_forms_and_prints_nothing(run, van, tmp_path) -> None:
    code, out, err = run("take", van, "--out", tmp_path / "records" / "new")
    assert (code, out) == (0, "")
    assert "van.flac: 1 to look at; wrote" in err
    written = sorted((tmp_path / "records" / "new").iterdir())
    assert [path.name for path in written] == ["van.html", "van.json", "van.txt"]
    record = json.loads(written[1].read_text("utf-8"))
    Draft202012Validator(json_schema()).validate(record)


def test_out_with_a_form_writes_only_that(run, van, tmp_path) -> None:
    run("take", van, "--out", tmp_path / "r", "--format", "html")
    assert [path.name for path in (tmp_path / "r").iterdir()] == ["van.html"]


def test_out_replaces_the_record_of_the_same_recording(run, van, tmp_path) -> None:
    for _ in range(2):
        code, _, err = run("take", van, "--out", tmp_path / "r")
        assert code == 0, err


@pytest.mark.parametrize("form", ["json", "html", "text"])
def test_out_never_replaces_the_record_of_another_recording(run, van, tmp_path, form) -> None:
    run("take", van, "--out", tmp_path / "r", "--format", form)
    (before,) = (tmp_path / "r").iterdir()
    kept = before.read_bytes()
    van.write_text("rear tyre two point five bar")
    code, _, err = run("take", van, "--out", tmp_path / "r", "--format", form)
    assert code == 1
    assert "another recording" in err
    assert before.read_bytes() == kept
    assert [path.name for path in (tmp_path / "r").iterdir()] == [before.name], "no leftovers"


def test_two_recordings_of_one_name_do_not_share_a_file(run, tmp_path) -> None:
    for folder, text in (("a", NOTE), ("b", "rear tyre two bar")):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "note.flac").write_text(text)
    code, _, err = run("take", tmp_path / "a", tmp_path / "b", "--out", tmp_path / "r")
    assert code == 1
    assert "note.json: belongs to another recording" in err


def test_a_file_is_whole_or_not_there(run, van, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(os, "replace", _refuse)
    code, _, err = run("take", van, "--out", tmp_path / "r")
    assert code == 1
    assert "cannot be written" in err
    assert list((tmp_path / "r").iterdir()) == []


def _refuse(*_: object) -> None:
    raise OSError(28, "No space left on device")


# ---- read ----------------------------------------------------------------------------------------


def test_read_from_a_pipe_prints_one_valid_record(run) -> None:
    code, out, err = run("read", "-", "--format", "json", stdin=SAID.encode())
    assert (code, err) == (0, "")
    record = json.loads(out)
    Draft202012Validator(json_schema()).validate(record)
    assert record["source"]["kind"] == "text"
    found = {(reading["value"], reading["unit"]) for reading in record["readings"]}
    assert found == {("0.25", "mm"), ("2.2", "bar")}


def test_read_a_file_with_its_sheet_beside(run, tmp_path) -> None:
    (tmp_path / "note.txt").write_text(NOTE)
    (tmp_path / "note.toml").write_text(SHEET)
    code, out, _ = run("read", tmp_path / "note.txt", "--format", "html")
    assert code == 0
    assert "<!DOCTYPE html>" in out and "door sticker" in out


@pytest.mark.parametrize(
    ("data", "says"), [(b"", "no words"), (b"\xff\xfe\x00", "UTF-8"), (b"gap 1\x002", "control")]
)
def test_read_of_bad_text_is_1(run, data: bytes, says: str) -> None:
    code, out, err = run("read", "-", stdin=data)
    assert (code, out) == (1, "")
    assert says in err and err.startswith("talklog: ")


def test_read_of_a_missing_file_is_1(run) -> None:
    code, _, err = run("read", "none.txt")
    assert code == 1
    assert "none.txt" in err


# ---- the smaller commands ------------------------------------------------------------------------


def test_bands_check(run, tmp_path) -> None:
    (tmp_path / "good.toml").write_text(SHEET)
    code, out, err = run("bands", "check", "good.toml")
    assert (code, err) == (0, "")
    assert "Van: 1 bands" in out
    (tmp_path / "bad.toml").write_text(SHEET.replace("low", "lwo").replace("source", "sauce"))
    code, out, err = run("bands", "check", "bad.toml")
    assert (code, out) == (1, "")
    assert "lwo" in err and "sauce" in err, "all problems at once"
    assert run("bands", "check", "none.toml")[0] == 1


def test_folder_of_sheets_follows_the_user(monkeypatch, tmp_path) -> None:
    from talklog.sheets import sheet_folder

    monkeypatch.delenv("TALKLOG_SHEETS", raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert sheet_folder() == tmp_path / "talklog" / "sheets"
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path))
    assert sheet_folder() == tmp_path / "talklog" / "sheets"
    monkeypatch.setattr(sys, "platform", "darwin")
    assert sheet_folder().parts[-4:-2] == ("Library", "Application Support")


# ---- the process ---------------------------------------------------------------------------------

TALKLOG = [sys.executable, "-m", "talklog"]


def test_help_starts_without_anything_heavy() -> None:
    heavy = "vosk spacy pint pydantic numpy soundfile soxr jinja2 av".split()  # noqa: SIM905
    code = (
        "import sys; from talklog import cli\n"
        "try: cli.main(['take', '--help'])\n"
        f"except SystemExit: print('LOADED', [m for m in {heavy} if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "talklog take van.flac" in run.stdout
    assert "LOADED []" in run.stdout


def test_a_closed_pipe_leaves_no_traceback() -> None:
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "wb") as stdout:
        done = subprocess.run(
            [*TALKLOG, "read", "-", "--format", "json"],
            input=SAID.encode(),
            stdout=stdout,
            stderr=subprocess.PIPE,
            check=False,
        )
    assert b"Traceback" not in done.stderr and b"Exception" not in done.stderr
    assert done.returncode == 1


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT to send")
def test_ctrl_c_is_130_without_a_traceback() -> None:
    heeds = lambda: signal.signal(signal.SIGINT, signal.SIG_DFL)  # noqa: E731
    waiting = subprocess.Popen(  # a shell lets what it starts in the background ignore Ctrl-C
        [*TALKLOG, "read", "-"], stdin=subprocess.PIPE, stderr=subprocess.PIPE, preexec_fn=heeds
    )
    waiting.stdin.write(b"waiting")
    waiting.stdin.flush()
    _until_it_waits(waiting.pid)
    waiting.send_signal(signal.SIGINT)
    _, err = waiting.communicate(timeout=20)
    assert waiting.returncode == 130
    assert b"Traceback" not in err and b"stopped" in err


def _until_it_waits(pid: int) -> None:
    """Until the process has Python's handler for SIGINT and sleeps in its read of the pipe."""
    import time

    for _ in range(400):
        time.sleep(0.05)
        status = Path(f"/proc/{pid}/status").read_text()
        caught = int(status.split("SigCgt:")[1].split()[0], 16)
        sleeps_in = Path(f"/proc/{pid}/wchan").read_text()  # "0" where that is kept secret
        reads = "pipe" in sleeps_in or sleeps_in in ("", "0")
        if caught & 2 and "State:\tS" in status and reads:
            time.sleep(0.3)
            return


def test_every_error_of_talklog_becomes_a_line(run, monkeypatch) -> None:
    for kind in TalklogError.__subclasses__():
        error = kind("what happened")
        monkeypatch.setattr(records, "_record", _raiser(error))
        code, out, err = run("read", "-", stdin=b"oil changed")
        assert (code, out, err) == (1, "", "talklog: what happened\n")


def _raiser(error: Exception):
    def fail(*_: object) -> None:
        raise error

    return fail
