"""Numbers that were not read are asked about if they would be out of a band, and only then."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from talklog.assemble import understand
from talklog.bands import parse_bands
from talklog.check import check
from talklog.new_record import make_record
from talklog.record import ServiceRecord
from talklog.transcript import Source, Transcript, Word
from talklog.verdicts.kinds import Checked

SHEET = """
[machine]
key = "t"
name = "Test"
[[band]]
quantity = "time"
component = "header tank"
low = 3
high = 4
unit = "min"
source = "card"
[[band]]
quantity = "deflection"
component = "belt"
low = 8
high = 10
unit = "mm"
source = "card"
[[band]]
quantity = "torque"
component = "caliper bolt"
low = 40
high = 50
unit = "N.m"
source = "card"
"""


def spoken(said: str) -> Transcript:
    return Transcript(Source("audio", "test", "0" * 64), tuple(map(Word, said.split())))


def checked(said: str) -> Checked:
    return check(understand(spoken(said)), parse_bands(SHEET))


# said -> what is asked about, and why. Common practice, no source.
ROWS = [
    ("header tank emptied in six minutes", "six minutes", "6 min is above 3 to 4 min"),
    ("header tank emptied in three minutes", None, ""),  # it would be in band
    ("belt a section twelve mil under the thumb", "twelve mil", "12 mm is above 8 to 10 mm"),
    ("belt a section nine mil under the thumb", None, ""),
    # What was taken back is never asked about, nor what is surely no reading.
    ("caliper bolts thirty five newton metres no sorry forty five newton metres", None, ""),
    ("job took six hours belt fine", None, ""),
]


@pytest.mark.parametrize(("said", "heard", "why"), ROWS, ids=[row[0] for row in ROWS])
def test_what_was_not_read_is_asked_about_if_it_would_be_out(
    said: str, heard: str | None, why: str
) -> None:
    words = said.split()
    asked = checked(said).asked
    assert [" ".join(words[one.first : one.last + 1]) for one in asked] == (
        [heard] if heard else []
    )
    assert all(one.why.startswith("Set aside as ") and why in one.why for one in asked)


def test_it_is_no_reading_of_the_note() -> None:
    notes = understand(spoken("header tank emptied in six minutes"))
    assert notes.readings == ()
    assert [one.reading.value for one in notes.perhaps] == [6]
    assert check(notes, None).asked == ()


def record(said: str) -> ServiceRecord:
    notes, when = understand(spoken(said)), datetime(2026, 1, 1, tzinfo=UTC)
    return make_record(spoken(said), notes, check(notes, parse_bands(SHEET)), made_at=when)


def test_in_the_record_it_stands_once() -> None:
    """Among what is unsure, with the band; what is in band stays set aside."""
    out, within = (record(f"header tank emptied in {n} minutes") for n in ("six", "three"))
    assert [(one.heard, "above 3 to 4 min" in one.why) for one in out.unsure] == [
        ("six minutes", True)
    ]
    assert out.set_aside == ()
    assert (len(within.unsure), len(within.set_aside)) == (0, 1)
