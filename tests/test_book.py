"""What the logbook tells: due lists, history, exports, damage, the watched folder, its commands."""

import csv
import io
import json
import os
import random
import shutil
import sqlite3
import zipfile
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import icalendar
import pytest
import scipy.stats
from click.testing import CliRunner

from talklog.cli import cli
from talklog.errors import AudioError, LogbookError
from talklog.logbook.backups import back_up
from talklog.logbook.calendars import MOST_OCTETS, as_calendar, escaped, folded
from talklog.logbook.due import due_items
from talklog.logbook.exports import read_archive, readings_csv, records_jsonl, write_archive
from talklog.logbook.history import Point, groups, history, trend
from talklog.logbook.incoming import Incoming
from talklog.logbook.lines import Line, line_through, reach
from talklog.logbook.plots import draw
from talklog.logbook.serials import vin_warning
from talklog.logbook.store import Logbook
from talklog.logbook.tables import history_text, trend_text
from talklog.logbook.verify import find_damage
from talklog.record import load_record
from tests.booked import record_from

DAY = "2026-03-02T08:00:00+00:00"


@pytest.fixture
def book(tmp_path):
    with Logbook.open(tmp_path / "book.db") as opened:
        yield opened


def put(book: Logbook, text: str, *, said_at: str = DAY):
    return book.add(record_from(text), audio=None, name="note.txt", said_at=said_at)


# ---- due -----------------------------------------------------------------------------------------


def test_what_is_due_by_day_by_meter_and_when_asked(book) -> None:
    put(book, "hour meter reads four thousand hours check the belt again in fifty hours")
    put(book, "check the seal again in two weeks")
    items = due_items(book, on=date(2026, 3, 20), at=4060.0)
    assert [(i.component, i.state) for i in items] == [("oil seal", "overdue"), ("belt", "overdue")]
    assert items[0].due_on == "2026-03-16" and items[1].due_meter == 4050
    later = due_items(book, on=date(2026, 3, 3), at=4001.0)
    assert {i.state for i in later} == {"later"}
    assert due_items(book, machine="heron")
    with pytest.raises(LogbookError, match="no machine"):
        due_items(book, machine="otter")


@pytest.mark.parametrize(
    ("meter", "unit", "due"),
    [("eighty thousand kilometres", "km", 80804.672), ("eighty thousand miles", "mi", 80500)],
)
def test_miles_after_kilometres(book, meter: str, unit: str, due: float) -> None:
    """1 mi = 1.609344 km exactly (NIST SP 811, appendix B.8)."""
    put(book, f"odometer reads {meter} check the belt again in five hundred miles")
    (item,) = due_items(book, machine="heron", at=80804.7)
    assert (item.due_meter, item.meter_unit) == (pytest.approx(due), unit)
    assert item.state == "overdue"


def test_hours_are_no_distance(book) -> None:
    put(book, "hour meter reads four thousand hours check the belt again in five hundred miles")
    (item,) = due_items(book)
    assert item.due_meter is None and item.state == "open"


def test_a_later_note_that_did_it_closes_it(book) -> None:
    put(book, "check the belt again in fifty hours")
    assert len(due_items(book)) == 1
    put(book, "replaced the belt", said_at="2026-03-05T08:00:00+00:00")
    assert len(due_items(book)) == 1  # renewing is not checking
    put(book, "checked the belt it's fine", said_at="2026-03-06T08:00:00+00:00")
    assert due_items(book) == []


def test_a_thing_closes_under_either_of_its_names(book) -> None:
    """ "pads" stay so where nothing shows a brake, and are brake pads beside a caliper."""
    put(book, "check the pads again in two weeks")
    checked = put(
        book, "brake caliper freed off checked the pads", said_at="2026-03-06T08:00:00+00:00"
    )
    assert "brake pad" in {action.component for action in checked.record.actions}
    assert due_items(book) == []


def test_an_earlier_note_closes_nothing(book) -> None:
    put(book, "checked the belt it's fine", said_at="2026-03-01T08:00:00+00:00")
    put(book, "check the belt again in fifty hours")
    assert len(due_items(book)) == 1


def test_done_by_hand_stays_done_after_a_correction(book) -> None:
    entry = put(book, "check the belt again in fifty hours")
    (item,) = due_items(book)
    book.mark_done(item.entry_id, item.place, who="Ada")
    assert due_items(book) == []
    book.revise(entry.id, entry.record, who="Ada", what="x", base_revision=1)
    assert due_items(book) == []
    with pytest.raises(LogbookError, match="no thing to do"):
        book.mark_done(entry.id, "99-100", who="Ada")


def test_the_calendar_is_good_icalendar(book) -> None:
    """RFC 5545, judged by the icalendar library."""
    put(book, "check the belt again in two weeks")
    put(book, "check the seal again in fifty hours")
    text = as_calendar(due_items(book), now=datetime(2026, 3, 2, 9, tzinfo=UTC), book="b;,")
    calendar = icalendar.Calendar.from_ical(text)
    todos = calendar.walk("VTODO")
    assert len(todos) == 2
    assert {str(todo["STATUS"]) for todo in todos} == {"NEEDS-ACTION"}
    assert {todo["DUE"].dt for todo in todos if "DUE" in todo} == {date(2026, 3, 16)}
    assert len({str(todo["UID"]) for todo in todos}) == 2
    assert all("DTSTAMP" in todo and "DURATION" not in todo for todo in todos)
    assert str(todos[0]["SUMMARY"]).startswith("Van Heron: check the belt")
    assert text.count("\n") == text.count("\r\n")


@pytest.mark.parametrize("text", ["é" * 200, "a,b;c\\d\ne", "日本" * 60, "x\0\x07y", ""])
def test_any_text_survives_escaping_and_folding(text: str) -> None:
    lines = list(folded(f"SUMMARY:{escaped(text)}"))
    assert all(len(line.encode()) <= MOST_OCTETS for line in lines)
    body = "\r\n".join(
        ["BEGIN:VTODO", "UID:1", "DTSTAMP:20260302T090000Z", *lines, "END:VTODO", ""]
    )
    found = icalendar.Todo.from_ical(body)["SUMMARY"]
    assert str(found) == "".join(c if c.isprintable() or c == "\n" else " " for c in text)


# ---- history -------------------------------------------------------------------------------------


def worn(values: list[str], *, meters: list[float | None], roles: str = "m") -> list[Point]:
    names = {"m": "measured", "s": "set"}
    return [
        Point(n, f"2026-01-{1 + 5 * n:02}T08:00:00+00:00", meter, "h" if meter else None, "pad",
              "thickness", None, None, value, "mm", None, None, names[roles[n % len(roles)]],
              "in_band", "3", None, "mm")
        for n, (value, meter) in enumerate(zip(values, meters, strict=True))
    ]  # fmt: skip


def test_a_straight_wear_is_found_exactly() -> None:
    told = trend(worn(["10", "9", "8", "7"], meters=[100.0, 200.0, 300.0, 400.0]))
    assert told.rate == pytest.approx(-0.01) and told.error == pytest.approx(0, abs=1e-12)
    assert (told.per, told.limit) == ("h", 3.0)
    assert told.at == pytest.approx(800) and told.earliest == pytest.approx(800)


# NIST Statistical Reference Datasets, linear regression, "Norris": data and certified values.
NORRIS_X = """0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5 666.9
338.0 447.5 11.6 556.0 228.1 995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2 999.0 779.0 11.1 118.3
229.2 669.1 448.9 0.5"""
NORRIS_Y = """0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8
339.3 448.9 10.8 557.7 228.3 998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0 998.5 778.9 10.2 117.6
228.9 668.4 449.2 0.2"""


def test_least_squares_as_certified() -> None:
    line = line_through([float(x) for x in NORRIS_X.split()], [float(y) for y in NORRIS_Y.split()])
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.value(0) == pytest.approx(-0.262323073774029, rel=1e-10)
    # From memory, not checked: 0.429796848199937E-03. scipy gives the same.
    independent = scipy.stats.linregress(
        [float(x) for x in NORRIS_X.split()], [float(y) for y in NORRIS_Y.split()]
    )
    assert line.error == pytest.approx(independent.stderr, rel=1e-10)


@pytest.mark.parametrize("count", [3, 4, 7, 32, 100])
def test_how_wide_is_unsure(count: int) -> None:
    """Student's t as scipy has it; a little too wide beyond the table, never too narrow."""
    line = Line(1, 1, 0, 0, count, 0, 1)
    exact = scipy.stats.t.ppf(0.975, count - 2)
    assert exact - 5e-4 <= line.times < exact * 1.035


def test_the_limit_lies_between_earliest_and_latest_19_times_in_20() -> None:
    """Wear of -1 from 10 with errors of known size meets 2 at place 8: how often is 8 inside?"""
    chance, inside, tries = random.Random(5), 0, 3000
    for _ in range(tries):
        places = [0.0, 1.0, 2.0, 3.0, 4.0]
        line = line_through(places, [10 - x + chance.gauss(0, 0.2) for x in places])
        _at, earliest, latest = reach(line, 2.0)
        inside += earliest <= 8 and (latest is None or latest >= 8)
    assert 0.94 < inside / tries < 0.965


def test_readings_that_show_no_wear_promise_no_day() -> None:
    line = line_through([1.0, 2.0, 3.0, 4.0], [5.0, 5.3, 4.8, 5.0])
    at, earliest, latest = reach(line, 3.0)
    assert latest is None and line.last <= earliest <= at
    assert "perhaps never" in trend_text(trend(worn(["5.0", "5.3", "4.8", "5.0"],
                                                    meters=[1.0, 2.0, 3.0, 4.0])))  # fmt: skip


def test_other_units_of_the_same_kind_are_one_wear() -> None:
    points = worn(["10", "0.9", "8"], meters=[1.0, 2.0, 3.0])
    points[1] = replace(points[1], unit="cm")
    told = trend(points)
    assert (told.rate, told.unit, told.limit) == (pytest.approx(-1), "mm", 3.0)
    points[1] = replace(points[1], unit="bar")
    assert trend(points) is None


def test_a_limit_in_another_unit_is_met_in_that_of_the_readings() -> None:
    points = [replace(p, band_low="0.3", band_unit="cm") for p in worn(
        ["10", "9", "8"], meters=[1.0, 2.0, 3.0])]  # fmt: skip
    assert (trend(points).limit, trend(points).at) == (3.0, pytest.approx(8))


def test_past_its_limit_is_no_forecast() -> None:
    told = trend(worn(["5", "4", "2.5"], meters=[1.0, 2.0, 3.0]))
    assert "already" in trend_text(told)


def test_unsure_readings_are_no_wear() -> None:
    points = worn(["10", "9", "90", "8"], meters=[1.0, 2.0, 3.0, 4.0])
    points[2] = replace(points[2], verdict="unsure")
    told = trend(points)
    assert told.readings == 3 and told.rate < 0


def test_by_days_where_a_meter_is_missing() -> None:
    told = trend(worn(["10", "9", "8"], meters=[100.0, None, 300.0]))
    assert told.per == "day" and told.rate == pytest.approx(-0.2)
    assert told.day_at(told.at) == date(2026, 1, 11) + timedelta(days=25)


def test_a_noisy_line_says_how_unsure_it_is() -> None:
    told = trend(worn(["10", "8", "9", "7"], meters=[1.0, 2.0, 3.0, 4.0]))
    assert told.earliest < told.at
    assert told.latest is None or told.latest > told.at


@pytest.mark.parametrize(
    "points",
    [
        worn(["10", "9"], meters=[1.0, 2.0]),
        worn(["10", "9", "8"], meters=[5.0, 5.0, 5.0]),
        worn(["10", "9", "8"], meters=[1.0, 2.0, 3.0], roles="mms"),
    ],
    ids=["two", "one moment", "set anew"],
)
def test_no_line_where_none_can_be_laid(points) -> None:
    assert trend(points) is None


def test_history_of_the_book_as_table_and_picture(book, tmp_path) -> None:
    for n, value in enumerate(("two point five", "two point four", "two point two")):
        day = f"2026-0{3 + n}-02T08:00:00+00:00"
        put(book, f"front tyre pressure {value} bar", said_at=day)
    points = history(book, "heron", component="tyre", quantity="pressure")
    assert [p.value for p in points] == ["2.5", "2.4", "2.2"]
    text = history_text(groups(points))
    assert "tyre, front: pressure" in text and "2.0 to 2.6 bar" in text
    assert "readings do not yet show when it would reach 2 bar" in text
    for name in ("plot.svg", "plot.png"):
        draw(groups(points), tmp_path / name)
        assert (tmp_path / name).stat().st_size > 1000
    with pytest.raises(LogbookError, match="svg"):
        draw(groups(points), tmp_path / "plot.exe")
    assert history(book, "heron", component="belt") == []


# ---- exports -------------------------------------------------------------------------------------


def test_readings_as_csv(book) -> None:
    """RFC 4180: CRLF, a header, quotes doubled; judged by the csv module."""
    put(book, "front tyre pressure two point five bar")
    text = readings_csv(book)
    assert text.count("\n") == text.count("\r\n") == 2
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert (row["component"], row["value"], row["unit"]) == ("tyre", "2.5", "bar")


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("-0.41", "-0.41"),
        ("+x", "'+x"),
        ("a,b", "a,b"),
    ],
)
def test_no_cell_is_a_formula(book, text: str, cell: str) -> None:
    record = record_from("front tyre pressure two point five bar")
    reading = record.readings[0].model_copy(update={"component": text})
    book.add(record.model_copy(update={"readings": (reading,)}), audio=None, name="n")
    (row,) = csv.DictReader(io.StringIO(readings_csv(book), newline=""))
    assert row["component"] == cell


def full(book: Logbook, folder: Path) -> None:
    """Two entries with a recording, a correction, two seals and a mark."""
    sound = folder / "van.flac"
    sound.write_bytes(os.urandom(3000))
    entry = book.add(
        record_from("front tyre pressure two bar check the belt again in fifty hours", sound=sound),
        audio=sound, name="van.flac", said_at=DAY,
    )  # fmt: skip
    book.seal(entry.id, who="Ada")
    book.revise(entry.id, entry.record, who="Ben", what="later", base_revision=1)
    book.seal(entry.id, who="Ben")
    book.mark_done(entry.id, due_items(book)[0].place, who="Ben")
    put(book, "rear tyre pressure three bar")


def told(book: Logbook) -> list[object]:
    entries = [book.entry(line.id) for line in reversed(book.entries())]
    more = [
        (book.revisions(e.id), book.seals(e.id), book.audio_path(e.id) is None) for e in entries
    ]
    return [entries, more, book.machines(), due_items(book)]


def test_an_export_read_in_is_the_same_book(book, tmp_path) -> None:
    full(book, tmp_path)
    write_archive(book, tmp_path / "all.zip")
    with Logbook.open(tmp_path / "new" / "book.db") as other:
        assert read_archive(other, tmp_path / "all.zip") == 2
        assert told(other) == told(book)
        assert other.audio_path(1).read_bytes() == book.audio_path(1).read_bytes()
        assert list(find_damage(other)) == []
        with pytest.raises(LogbookError, match="not empty"):
            read_archive(other, tmp_path / "all.zip")


def test_records_as_json_lines(book, tmp_path) -> None:
    full(book, tmp_path)
    records = [load_record(line) for line in records_jsonl(book)]
    assert [record.id for record in records] == [book.entry(n).record.id for n in (1, 2)]


def _changed(source: Path, target: Path, change) -> None:
    """A copy of an archive with its lines changed."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w") as new:
        for info in old.infolist():
            data = old.read(info)
            if info.filename == "book.jsonl":
                lines = [json.loads(line) for line in data.splitlines()]
                change(lines)
                data = "".join(json.dumps(line) + "\n" for line in lines).encode()
            new.writestr(info.filename, data, zipfile.ZIP_STORED)


CHANGES = {
    "other text": lambda lines: lines[2]["entry"]["revisions"][0].update(
        record=lines[2]["entry"]["revisions"][0]["record"].replace("2", "3", 1)
    ),
    "path": lambda lines: lines[2]["entry"].update(file="audio/../../x", audio="../../x"),
    "folder above": lambda lines: lines[2]["entry"].update(
        file="audio/.." + "a" * 62, audio=".." + "a" * 62
    ),
    "absolute": lambda lines: lines[2]["entry"].update(file="/etc/passwd"),
    "size": lambda lines: lines[2]["entry"].update(bytes=10**10),
    "seal": lambda lines: lines[2]["entry"]["seals"][0].update(who="Eve"),
    "form": lambda lines: lines[0].update(form="other/1"),
    "no text": lambda lines: lines.clear(),
    "number": lambda lines: lines[2]["entry"].update(revisions="x"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_changed_export_is_refused_whole(book, tmp_path, change: str) -> None:
    full(book, tmp_path)
    write_archive(book, tmp_path / "all.zip")
    _changed(tmp_path / "all.zip", tmp_path / "bad.zip", CHANGES[change])
    with Logbook.open(tmp_path / "new" / "book.db") as other:
        with pytest.raises(LogbookError):
            read_archive(other, tmp_path / "bad.zip")
        assert other.entries() == [] and other.machines() == []
    assert not (tmp_path / "x").exists()


def test_a_bomb_is_not_unpacked(book, tmp_path) -> None:
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("book.jsonl", b" " * 300_000_000)
    with pytest.raises(LogbookError, match="would grow"):
        read_archive(book, tmp_path / "bomb.zip")


@pytest.mark.parametrize("content", [b"", b"no zip", b"PK\x03\x04" + b"\0" * 50])
def test_a_file_that_is_no_export_is_refused(book, tmp_path, content: bytes) -> None:
    (tmp_path / "x.zip").write_bytes(content)
    with pytest.raises(LogbookError, match="no export"):
        read_archive(book, tmp_path / "x.zip")


# ---- damage and backup ---------------------------------------------------------------------------


def test_a_backup_made_while_others_write_is_whole(book, tmp_path) -> None:
    full(book, tmp_path)
    with book.database.writing() as connection:
        connection.execute("UPDATE machine SET name = 'half'")
        copy = back_up(book, tmp_path / "copy" / "book.db")
    with Logbook.open(copy) as other:
        assert list(find_damage(other)) == []
        assert other.machine("heron").machine.name == "Van Heron"
        assert other.audio_path(1).is_file()
    with pytest.raises(LogbookError, match="is there already"):
        back_up(book, copy)


def _sql(statement: str, *triggers: str):
    def damage(book: Logbook) -> None:
        with sqlite3.connect(book.path) as connection:
            for trigger in triggers:
                connection.execute(f"DROP TRIGGER {trigger}")
            connection.execute(statement)

    return damage


DAMAGE = {
    "record": (_sql("UPDATE revision SET record = replace(record, 'Heron', 'Hero')",
                    "revision_is_kept"), "hash differs"),
    "revision": (_sql("DELETE FROM revision WHERE number = 1 AND entry_id = 1", "revision_stays"),
                 "missing"),
    "who corrected": (_sql("UPDATE revision SET who = 'Eve'", "revision_is_kept"), "does not fit"),
    "seal": (_sql("UPDATE seal SET who = 'Eve'", "seal_is_kept"), "does not fit"),
    "recording": (lambda book: book.audio_path(1).write_bytes(b"x"), "hash differs"),
    "no recording": (lambda book: book.audio_path(1).unlink(), "missing"),
}  # fmt: skip


@pytest.mark.parametrize("kind", DAMAGE)
def test_damage_is_found_and_named(book, tmp_path, kind: str) -> None:
    full(book, tmp_path)
    damage, words = DAMAGE[kind]
    damage(book)
    assert any(words in problem for problem in find_damage(book))


def test_a_damaged_page_is_named_not_crashed_over(book, tmp_path) -> None:
    for n in range(30):
        put(book, f"rear tyre {n} psi")
    book.close()
    with sqlite3.connect(book.path) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    content = bytearray(book.path.read_bytes())
    content[3 * 4096 : 12 * 4096] = os.urandom(9 * 4096)
    book.path.write_bytes(content)
    result = CliRunner().invoke(cli, ["book", "check", "--book", str(book.path)])
    assert result.exit_code == 1
    assert isinstance(result.exception, LogbookError | SystemExit)


# ---- serial numbers ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("vin", "words"),
    [
        ("1M8GDM9AXKP042788", None),  # widely printed worked example of the check digit, sum 351
        ("1G4AH59H45G118341", None),  # sample calculation in 49 CFR 565 (older text), sum 411
        ("1J9RP1A36A1644345", None),  # NHTSA, Outline for New Manufacturer Information, p. 18
        ("11111111111111111", None),  # all ones: sum 89, 89 mod 11 = 1
        ("1M8GDM9A1KP042788", "would be X"),
        ("1M8GDM9AXKP04278O", "holds no O"),
        ("SER 1234", None),
    ],
)
def test_check_digits(vin: str, words: str | None) -> None:
    warning = vin_warning(vin)
    assert warning is None if words is None else words in warning


def test_letters_of_one_value_are_not_caught() -> None:
    """49 CFR 565.15(c)(4), table: C and T, E and V, G and P have one value each."""
    assert vin_warning("1M8PDM9AXKP042788") is None


# ---- the watched folder --------------------------------------------------------------------------


@pytest.fixture
def phone(tmp_path):
    folder = tmp_path / "phone"
    folder.mkdir()
    return folder


def arrive(folder: Path, name: str, content: bytes = b"sound") -> Path:
    path = folder / name
    path.write_bytes(content)
    os.utime(path, (1_700_000_000, 1_700_000_000))
    return path


def watcher(book: Logbook, *, bad: str = "") -> Incoming:
    def take(path: Path) -> tuple[int, str]:
        if path.name == bad:
            raise AudioError(f"{path}: holds no sound")
        record = record_from("front tyre pressure two bar", sound=path)
        return book.add(record, audio=path, name=path.name).id, record.source.sha256

    return Incoming(book, take)


def test_each_recording_is_taken_once_whatever_stops_in_between(book, phone) -> None:
    arrive(phone, "a.wav", b"one")
    incoming = watcher(book)
    assert [incoming.one(p).entry for p in incoming.new(sorted(phone.iterdir()))] == [1]
    arrive(phone, "b.wav", b"two")
    again = watcher(book)  # started anew
    assert [p.name for p in again.new(sorted(phone.iterdir()))] == ["b.wav"]
    assert [again.one(p).entry for p in again.new(sorted(phone.iterdir()))] == [2]
    assert again.new(sorted(phone.iterdir())) == []


def test_the_same_sound_under_two_names_is_one_entry(book, phone) -> None:
    for name in ("a.wav", "copy of a.wav"):
        arrive(phone, name, b"same")
    incoming = watcher(book)
    assert {incoming.one(p).entry for p in incoming.new(sorted(phone.iterdir()))} == {1}


def test_a_file_that_is_still_arriving_is_left_alone(book, phone) -> None:
    path = phone / "a.wav"
    path.write_bytes(b"half")
    assert watcher(book).new([path]) == []
    later = Incoming(book, lambda p: (1, ""), clock=lambda: path.stat().st_mtime + 60)
    assert later.new([path]) == [path]


def test_a_phone_whose_clock_runs_ahead_is_waited_for_by_what_is_seen(book, phone) -> None:
    path = phone / "a.wav"
    path.write_bytes(b"half")
    os.utime(path, (4_000_000_000, 4_000_000_000))
    time = [100.0]
    incoming = Incoming(book, lambda p: (1, ""), clock=lambda: time[0])
    assert incoming.new([path]) == []
    path.write_bytes(b"whole")
    os.utime(path, (4_000_000_000, 4_000_000_000))
    time[0] = 110.0
    assert incoming.new([path]) == [] and incoming.arriving([path])
    time[0] = 115.0
    assert incoming.new([path]) == [path] and not incoming.arriving([path])


def test_a_recording_that_grows_while_it_is_heard_is_left_for_later(book, phone) -> None:
    path = arrive(phone, "a.wav", b"half")

    def slow(path: Path) -> tuple[int, str]:
        record = record_from("gap ten", sound=path)
        arrive(phone, "a.wav", b"half and the rest")
        return book.add(record, audio=path, name="a").id, record.source.sha256

    outcome = Incoming(book, slow).one(path)
    assert outcome.entry is None and "changed" in outcome.reason
    assert book.entries() == [] and watcher(book).new([path]) == [path]


def test_a_full_disk_is_no_fault_of_the_recording(book, phone) -> None:
    path = arrive(phone, "a.wav")

    def full_disk(_path: Path) -> tuple[int, str]:
        raise LogbookError("the disk is full")

    with pytest.raises(LogbookError, match="full"):
        Incoming(book, full_disk).one(path)
    assert watcher(book).failures() == [] and watcher(book).new([path]) == [path]


def test_failures_are_set_apart_with_their_reason_and_can_be_tried_again(book, phone) -> None:
    path = arrive(phone, "bad.wav")
    incoming = watcher(book, bad="bad.wav")
    assert "no sound" in incoming.one(path).reason
    assert incoming.new([path]) == [] and "no sound" in incoming.failures()[0][1]
    assert path.exists()
    assert incoming.forget_failures() == 1 and incoming.new([path]) == [path]
    arrive(phone, "bad.wav", b"sound now")
    assert watcher(book).new([path]) == [path]


# ---- commands ------------------------------------------------------------------------------------


def run(*arguments: object, ok: bool = True) -> str:
    result = CliRunner().invoke(cli, [str(a) for a in arguments])
    assert (result.exit_code == 0) == ok, result.output
    return result.output


def test_the_commands_in_a_row(book, tmp_path) -> None:
    full(book, tmp_path)
    at = ("--book", book.path)
    assert "amended" not in run("book", "list", *at) and "signed" in run("book", "list", *at)
    shown = run("book", "show", "1", *at)
    assert "HISTORY" in shown and "amendment 2" in shown and "signed" in shown
    assert "<html" in run("book", "show", "1", "--format", "html", *at)
    assert json.loads(run("book", "show", "1", "--format", "json", "--revision", "1", *at))["id"]
    assert "«belt»" in run("book", "search", "belt", *at)
    assert "tyre, front: pressure" in run("book", "history", "heron", *at)
    assert "Nothing to do" in run("book", "due", "--on", "2026-03-05", *at)
    assert run("book", "readings", *at).startswith("entry,said_at")
    assert len(run("book", "records", *at).splitlines()) == 2
    run("book", "export", tmp_path / "all.zip", *at)
    run("book", "import", tmp_path / "all.zip", "--book", tmp_path / "b2.db")
    run("book", "backup", tmp_path / "b3.db", *at)
    for name in ("b2.db", "b3.db"):
        assert "whole" in run("book", "check", "--book", tmp_path / name)
    run("machine", "add", "otter", "Lathe Otter", "--kind", "lathe", *at)
    assert "check digit" in run("machine", "change", "otter", "--serial", "1" * 16 + "2", *at)
    assert "otter" in run("machine", "list", *at)
    assert "Lathe Otter" in run("machine", "show", "otter", *at)


def test_due_writes_a_calendar_and_done_closes(book, tmp_path) -> None:
    put(book, "check the belt again in two weeks")
    at = ("--book", book.path)
    text = run("book", "due", "--ics", tmp_path / "jobs.ics", "--on", "2026-03-16", *at)
    assert text.startswith("DUE") and "[1/0-" in text
    assert icalendar.Calendar.from_ical((tmp_path / "jobs.ics").read_bytes()).walk("VTODO")
    place = text.split("[1/")[1].split("]")[0]
    run("book", "done", "1", place, "--who", "Ada", *at)
    assert "Nothing to do" in run("book", "due", *at)


@pytest.mark.speech
def test_watch_and_take_put_the_same_note_in_once(tmp_path, phone) -> None:
    sample = Path(__file__).parents[1] / "sample_audio" / "lathe.flac"
    shutil.copyfile(sample, phone / "lathe.flac")
    arrive(phone, "broken.flac", b"fLaC" + b"\0" * 40)
    os.utime(phone / "lathe.flac", (1_700_000_000, 1_700_000_000))
    at = ("--book", tmp_path / "book.db")
    bands = ("--bands", sample.with_suffix(".toml"))
    assert "set apart" in run("watch", phone, "--once", *bands, *at)
    run("take", sample, "--out", tmp_path / "out", *bands, *at)
    with Logbook.open(tmp_path / "book.db") as opened:
        assert len(opened.entries()) == 1
        assert opened.entry(1).said_at.startswith("2023-11-1")
        assert opened.entry(1).revisions == 1
