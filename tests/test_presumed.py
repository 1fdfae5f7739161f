"""What of a reading was not said plainly is marked, and only that."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest

from talklog import notes
from talklog.assemble import understand
from talklog.bands import BandSheet, Machine
from talklog.check import check
from talklog.corrections import Correction, correct
from talklog.live.session import line_text
from talklog.new_record import make_record
from talklog.record import Presumed, Reading, ServiceRecord, load_record, to_json
from talklog.report import html_report, make_sheet, named, text_report
from talklog.transcript import Source, Transcript, Word

SHEET = BandSheet(Machine("mill", "Mill", "mill", ""), ())
PLAIN = """
battery twelve point six volts
front left tyre pressure thirty two psi
blade bolt torqued to forty newton metres
spindle runout two thou
"""


def said(text: str) -> Transcript:
    return Transcript(Source("text", "note", "0" * 64), tuple(map(Word, text.split())))


def record_of(text: str, *presumed: str) -> ServiceRecord:
    """The record of a note, its readings with these fields presumed."""
    found = understand(said(text))
    readings = tuple(replace(reading, presumed=presumed) for reading in found.readings)
    found = replace(found, readings=readings)
    return make_record(said(text), found, check(found, SHEET))


@pytest.mark.parametrize("text", PLAIN.strip().splitlines())
def test_what_is_said_plainly_is_not_marked(text: str) -> None:
    assert [reading.presumed for reading in understand(said(text)).readings] == [()]


def test_what_was_measured_is_marked_where_nobody_said_so() -> None:
    text = "pump coupling to the gearbox out of line by four thou on the foot"
    (reading,) = understand(said(text)).readings
    assert reading.presumed == ("quantity",)


def test_the_record_keeps_and_shows_it() -> None:
    record = record_of("spindle runout two thou", "component", "position", "role")
    assert load_record(to_json(record)) == record
    (line,) = make_sheet(record).readings
    assert (line.what, line.role) == ("spindle?, place?: runout", "measured?")
    for page in (text_report(record), html_report(record)):
        assert "spindle?, place?: runout" in page
        assert "not said plainly" in page


def test_what_is_told_live_has_no_marks() -> None:
    (line,) = make_sheet(record_of("spindle runout two thou", "component", "role")).readings
    assert line_text(line).startswith("spindle: runout: 2 thou")


def test_no_mark_no_line_about_it() -> None:
    record = record_of("spindle runout two thou")
    assert "not said plainly" not in text_report(record) + html_report(record)
    assert named(record.readings[0]) == "spindle: runout"


def test_a_question_shows_what_was_presumed() -> None:
    record = record_of("spindle runout two", "quantity")
    assert "(spindle: runout?)" in text_report(record)


def test_it_is_written_only_where_there_is_any() -> None:
    plain, marked = (
        record_of("spindle runout two thou"),
        record_of("spindle runout two thou", "role"),
    )
    assert "presumed" not in to_json(plain)
    assert load_record(to_json(plain)) == plain
    assert '"presumed": [\n        "role"\n      ]' in to_json(marked)


@pytest.mark.parametrize("kind", ["accept", "correct"])
def test_what_a_person_looked_at_is_not_presumed(kind: str) -> None:
    record = record_of("spindle runout two thou", "component")
    changes = {"component": "headstock"} if kind == "correct" else {}
    asked = Correction(kind=kind, group="readings", index=0, who="Kit", changes=changes)
    (reading,) = correct(record, asked).record.readings
    assert reading.presumed == ()


def test_fields_of_the_notes_are_those_of_the_record() -> None:
    fields = set(get_args(Presumed))
    assert fields <= set(notes.Reading.__dataclass_fields__) & set(Reading.model_fields)
