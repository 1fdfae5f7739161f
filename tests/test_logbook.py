"""The logbook: what is put in stays, whole, findable, and as it was said."""

import errno
import os
import random
import sqlite3
import threading
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from talklog.days import after, of_event, utc_of
from talklog.errors import DataFileError, LogbookError
from talklog.logbook.kinds import Machine
from talklog.logbook.store import Logbook
from talklog.logbook.verify import find_damage
from talklog.logbook.works import load_works, parse_works, work_of_text, work_of_verb
from talklog.pipeline import record_of
from talklog.sheets import NamedSheet
from talklog.transcript import Source, Transcript, Word
from tests.booked import SHEET, killed_writer, note, record_from, what_was_lost


@pytest.fixture
def book(tmp_path):
    with Logbook.open(tmp_path / "book.db") as opened:
        yield opened


def put(book: Logbook, text: str, *, said_at: str = "2026-03-02T08:00:00+00:00"):
    return book.add(record_from(text), audio=None, name="note.txt", said_at=said_at)


# ---- entries and revisions -----------------------------------------------------------------------


def test_the_same_note_twice_is_one_entry(book) -> None:
    first, again = put(book, "rear tyre two bar"), put(book, "rear tyre two bar")
    assert first.id == again.id and again.revisions == 1
    assert len(book.entries()) == 1


def test_a_note_understood_anew_is_a_revision_and_the_old_one_stays(book) -> None:
    record = record_from("rear tyre two bar")
    other = record.model_copy(update={"readings": ()})
    entry = book.add(record, audio=None, name="a")
    assert book.add(other, audio=None, name="a").revisions == 2
    assert book.record(entry.id, 1) == record
    assert book.entry(entry.id).record == other


def test_what_people_corrected_is_not_undone_by_taking_again(book) -> None:
    entry = put(book, "rear tyre two bar")
    corrected = entry.record.model_copy(update={"readings": ()})
    book.revise(entry.id, corrected, who="Ada", what="not said", base_revision=1)
    assert put(book, "rear tyre two bar").record == corrected
    assert [r.who for r in book.revisions(entry.id)] == ["talklog", "Ada"]


def test_the_slower_of_two_people_is_told(book) -> None:
    entry = put(book, "rear tyre two bar")
    book.revise(entry.id, entry.record, who="Ada", what="x", base_revision=1)
    with pytest.raises(LogbookError, match="changed meanwhile"):
        book.revise(entry.id, entry.record, who="Ben", what="y", base_revision=1)


def test_a_record_of_another_note_is_no_revision(book) -> None:
    entry, other = put(book, "rear tyre two bar"), record_from("front tyre three bar")
    with pytest.raises(LogbookError, match="is another"):
        book.revise(entry.id, other, who="Ada", what="x", base_revision=1)


def test_a_seal_marks_later_changes_as_amendments(book) -> None:
    entry = put(book, "rear tyre two bar")
    seal = book.seal(entry.id, who="Ada")
    assert book.entry(entry.id).sealed and not book.entry(entry.id).amended
    book.revise(entry.id, entry.record, who="Ben", what="later", base_revision=1)
    assert book.entry(entry.id).amended
    assert [r.amendment for r in book.revisions(entry.id)] == [False, True]
    assert book.seal(entry.id, who="Ben").sha256 != seal.sha256


@pytest.mark.parametrize("who", ["", "  \n"])
def test_nobody_cannot_sign(book, who: str) -> None:
    with pytest.raises(LogbookError, match="who signs"):
        book.seal(put(book, "rear tyre two bar").id, who=who)


@pytest.mark.parametrize("table", ["revision", "seal", "entry"])
def test_not_even_sql_overwrites_what_was_kept(book, table: str) -> None:
    book.seal(put(book, "rear tyre two bar").id, who="Ada")
    with sqlite3.connect(book.path) as connection, pytest.raises(sqlite3.IntegrityError):
        connection.execute(f"DELETE FROM {table}")


# ---- recordings ----------------------------------------------------------------------------------


def test_the_recording_is_kept_by_its_hash(book, tmp_path) -> None:
    sound = tmp_path / "van.FLAC"
    sound.write_bytes(b"sound" * 1000)
    record = record_from("rear tyre two bar", sound=sound)
    entry = book.add(record, audio=sound, name=sound.name)
    kept = book.audio_path(entry.id)
    assert kept.read_bytes() == sound.read_bytes() and kept.suffix == ".flac"
    assert record.source.sha256 in kept.name
    assert entry.audio_sha256 == record.source.sha256


def test_a_recording_that_changed_meanwhile_is_refused_whole(book, tmp_path) -> None:
    sound = tmp_path / "van.flac"
    sound.write_bytes(b"sound")
    record = record_from("rear tyre two bar", sound=sound)
    sound.write_bytes(b"other")
    with pytest.raises(LogbookError, match="changed meanwhile"):
        book.add(record, audio=sound, name="van.flac")
    assert book.entries() == [] and not list(book.audio.path.rglob("*.*"))


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "a.b/../c", "x." + "y" * 50, "n\0ul", "💥.💥"]
)
def test_no_name_leads_out_of_the_folder(book, tmp_path, name: str) -> None:
    sound = tmp_path / "van.flac"
    sound.write_bytes(b"sound")
    entry = book.add(record_from("gap ten", sound=sound), audio=sound, name=name)
    assert book.audio_path(entry.id).resolve().is_relative_to(book.audio.path.resolve())


# ---- machines, search, lists ---------------------------------------------------------------------


def test_machines_know_their_last_meter_and_open_things(book) -> None:
    put(book, "hour meter reads four thousand two hundred and ten hours check the belt again in "
        "fifty hours")  # fmt: skip
    (known,) = book.machines()
    assert (known.machine.key, known.meter, known.meter_unit) == ("heron", "4210", "h")
    assert (known.entries, known.open_follow_ups) == (1, 1)


def test_a_machine_can_be_changed_but_keeps_its_entries(book) -> None:
    put(book, "rear tyre two bar")
    book.set_machine(Machine("heron", "Old Heron", "van", "SER 1", "km"))
    assert book.machine("heron").machine.name == "Old Heron"
    assert [e.machine_name for e in book.entries(machine="heron")] == ["Old Heron"]
    with pytest.raises(LogbookError, match="no machine 'otter'"):
        book.entries(machine="otter")


def test_pages_of_a_list_follow_each_other(book) -> None:
    for number in ("one", "two", "three", "four", "five"):
        put(book, f"rear tyre {number} bar")
    first = book.entries(limit=2)
    second = book.entries(limit=2, before=first[-1].id)
    assert [e.id for e in (*first, *second)] == [5, 4, 3, 2]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("tyre", 2), ("rear tyre", 1), ("rea", 1), ("bearing", 0), ("", 0), ('"', 0),
        ("rear OR front", 0), ("NEAR(rear tyre)", 0), ("said : rear", 0), ("rear*", 1),
    ],
)  # fmt: skip
def test_search_takes_words_and_no_language_of_its_own(book, text: str, found: int) -> None:
    put(book, "rear tyre two bar")
    put(book, "front tyre three bar")
    assert len(book.search(text)) == found
    assert len(book.search(text, machine="heron")) == found


@given(st.text(max_size=30))
def test_no_text_breaks_the_search(text: str) -> None:
    assert BOOK.search(text) == [] or text.strip()


BOOK = Logbook.open(Path(__import__("tempfile").mkdtemp()) / "book.db")


# ---- work and days -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("verb", "text", "work"),
    [
        ("replace", "belt wants renewing", "renew"),
        ("check", "have another look at the seal keep an eye on it", "check"),
        ("tighten", "retorque the wheel nuts", "tighten"),
    ],
)  # common practice, no source
def test_words_of_the_same_work(verb: str, text: str, work: str) -> None:
    assert work_of_verb(verb) == work_of_text(text) == work


def test_fitting_is_not_renewing() -> None:
    assert work_of_verb("fit") != work_of_verb("renew")
    assert work_of_verb("polish") == "polish" and work_of_text("the oil") == ""


def test_a_word_under_two_works_is_refused() -> None:
    with pytest.raises(DataFileError, match="stands under"):
        parse_works('[work.a]\nverbs=["x"]\nwords=[]\n[work.b]\nverbs=["x"]\nwords=[]\n')
    assert load_works().verbs


@pytest.mark.parametrize(
    ("day", "duration", "due"),
    [
        ("2026-01-31", "P1M", "2026-02-28"),  # from memory: the last day, as calendars do
        ("2024-02-29", "P1Y", "2025-02-28"),
        ("2026-11-25", "P2W", "2026-12-09"),
        ("2026-11-25", "PT36H", "2026-11-27"),
        ("2026-11-25", "P3Y6M4DT12H30M5S", "2030-05-30"),
    ],
)
def test_days_after(day: str, duration: str, due: str) -> None:
    assert str(after(date.fromisoformat(day), duration)) == due


@pytest.mark.parametrize("duration", ["P", "1D", "P9999999Y", "PT", "P-1D"])
def test_durations_that_are_none(duration: str) -> None:
    assert after(date(2026, 1, 1), duration) in (None, date(2026, 1, 1))


def test_events_of_the_calendar() -> None:
    wednesday = date(2026, 11, 25)  # a Wednesday: datetime.date of Python
    assert str(of_event(wednesday, "friday")) == "2026-11-27"
    assert str(of_event(wednesday, "wednesday")) == "2026-12-02"
    assert of_event(wednesday, "next service") is None


@pytest.mark.parametrize(
    ("said", "due"),
    [
        ("check the belt again friday", {"date": "2026-11-27"}),
        ("check the belt again tomorrow", {"date": "2026-11-26"}),
        ("check the belt again next week", {"event": "next week"}),
        ("check the belt again in two weeks", {"duration": "P2W"}),
        ("check the belt again before winter", {"event": "before winter"}),
    ],
)
def test_a_day_by_its_name_becomes_a_date(said: str, due: dict[str, str]) -> None:
    """25 November 2026 is a Wednesday (datetime.date of Python)."""
    record = record_of(note(said), said_on=date(2026, 11, 25))
    (later,) = record.follow_ups
    assert later.due.model_dump() == due
    assert record_of(note(said)).follow_ups[0].due.model_dump().keys() <= {"event", "duration"}


def test_times_sort_in_utc() -> None:
    # RFC 3339, section 5.8: the same moment written in two places.
    assert utc_of("1996-12-19T16:39:57-08:00") == utc_of("1996-12-20T00:39:57Z")
    assert utc_of("1990-12-31T23:59:60Z") < utc_of("1991-01-01T00:00:00Z")


# ---- faults --------------------------------------------------------------------------------------


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL")
def test_killed_at_any_moment_no_finished_entry_is_lost_and_none_is_half(tmp_path) -> None:
    """Some moments only; ``python -m tests.benchmarks.kills`` does fifty and more."""
    path, chance, finished = tmp_path / "book.db", random.Random(3), set()
    for _ in range(4):
        finished |= killed_writer(path, after=chance.uniform(0, 0.3))
        assert what_was_lost(path, finished) == []


def test_many_writers_at_once_lose_nothing(tmp_path) -> None:
    path = tmp_path / "book.db"
    records = [record_from(f"rear tyre {n} psi") for n in range(24)]
    failures: list[Exception] = []

    def write(mine: list) -> None:
        try:
            with Logbook.open(path) as book:
                for record in mine:
                    book.add(record, audio=None, name="n")
        except Exception as error:
            failures.append(error)

    threads = [threading.Thread(target=write, args=(records[n::3],)) for n in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with Logbook.open(path) as book:
        assert not failures and len(book.entries()) == 24


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"not a book at all, only text", "is not a logbook"),
        (b"SQLite format 3\0" + b"x" * 200, "book.db"),
    ],
)
def test_a_file_that_is_no_book_is_refused_and_left_alone(tmp_path, content, words) -> None:
    path = tmp_path / "book.db"
    path.write_bytes(content)
    with pytest.raises(LogbookError, match=words):
        Logbook.open(path)
    assert path.read_bytes() == content


def test_another_programs_database_is_not_touched(tmp_path) -> None:
    path = tmp_path / "book.db"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE mine (x)")
    with pytest.raises(LogbookError, match="no logbook of talklog"):
        Logbook.open(path)


def test_a_book_of_a_newer_talklog_is_not_touched(tmp_path) -> None:
    path = tmp_path / "book.db"
    Logbook.open(path).close()
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(LogbookError, match="newer talklog"):
        Logbook.open(path)


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written_is_named(tmp_path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(LogbookError, match="cannot be"):
            Logbook.open(tmp_path / "sub" / "book.db")
    finally:
        tmp_path.chmod(0o700)


@pytest.mark.skipif(not Path("/sys/kernel").is_dir(), reason="no /sys")
def test_a_file_system_that_nobody_may_write_is_named() -> None:
    with pytest.raises(LogbookError, match="cannot be"):
        Logbook.open(Path("/sys/kernel/talklog/book.db"))


def test_a_clock_that_goes_back_loses_no_order(tmp_path) -> None:
    times = iter(f"2026-03-{30 - n:02}T08:00:00+00:00" for n in range(20))
    with Logbook(tmp_path / "b.db", now=lambda: datetime.fromisoformat(next(times))) as book:
        entry = put(book, "check the belt again in two weeks")
        book.revise(entry.id, entry.record, who="Ada", what="x", base_revision=1)
        book.seal(entry.id, who="Ada")
        book.revise(entry.id, entry.record, who="Ben", what="y", base_revision=2)
        put(book, "checked the belt", said_at="2020-01-01T08:00:00+00:00")
        revisions = book.revisions(entry.id)
        assert [r.who for r in revisions] == ["talklog", "Ada", "Ben"]
        assert revisions[0].made_at > revisions[2].made_at and revisions[2].amendment
        assert [e.id for e in book.entries()] == [2, 1]
        assert book.machine("heron").open_follow_ups == 1  # by the clock it was done before
        assert list(find_damage(book)) == []


def test_a_disk_that_fills_while_a_recording_is_copied(book, tmp_path, monkeypatch) -> None:
    sound = tmp_path / "van.flac"
    sound.write_bytes(b"sound" * 1000)
    record = record_from("rear tyre two bar", sound=sound)

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched, pytest.raises(LogbookError, match="No space left"):
        patched.setattr(os, "fsync", full)
        book.add(record, audio=sound, name="van.flac")
    assert book.entries() == [] and not list(book.audio.path.rglob("*.*"))
    assert book.add(record, audio=sound, name="van.flac").id == 1


def test_a_full_disk_leaves_the_book_as_it_was(book) -> None:
    put(book, "rear tyre two bar")
    with book.database.alone() as connection:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {pages}")
    long = note(" ".join(f"rear tyre {n} psi" for n in range(400)))
    with pytest.raises(LogbookError, match="disk is full"):
        book.add(record_of(long, sheet=SHEET), audio=None, name="n")
    assert len(book.entries()) == 1 and book.entry(1).record.readings


HOSTILE = ["<script>alert(1)</script>", "'; DROP TABLE entry; --", "\u202ename", "x" * 5000, "=1+1"]


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_texts_are_only_texts(book, text: str) -> None:
    sheet = NamedSheet(text, replace(SHEET.sheet, machine=replace(SHEET.sheet.machine, name=text)))
    words = (Word("gap"), Word("ten"), Word(text.replace(" ", "_")))
    record = record_of(Transcript(Source("audio", text, "a" * 64, 1.0), words), sheet=sheet)
    entry = book.add(record, audio=None, name=text)
    assert book.entry(entry.id).record == record
    assert len(book.entries(machine="heron")) == 1
