"""What the speaker left open himself is asked about; what he decided is not."""

from __future__ import annotations

import pytest

from talklog.assemble import understand
from talklog.mentions import find_mentions
from talklog.undecided import EITHER, OPEN, undecided
from tests.test_passages import spoken

# Words, "|" for a pause -> what is asked about, and why. Common practice, no source.
ROWS = (
    ("cover back on | i'm not sure i did the bolts", [("not sure i did the bolts", OPEN)]),
    (
        "can't remember if i greased the jaws | next",
        [("can't remember if i greased the jaws", OPEN)],
    ),
    ("so it's the relay or the wiring harness", [("relay or the wiring harness", EITHER)]),
    ("bearing or belt | ask the owner", [("bearing or belt", EITHER)]),
    ("replaced the relay and the harness", []),
    ("bearing | or the belt goes on friday", []),
    ("did the bolts up and that's that", []),
    ("or", []),
)


@pytest.mark.parametrize(("said", "wanted"), ROWS, ids=[row[0][:30] for row in ROWS])
def test_what_is_left_open(said: str, wanted: list[tuple[str, str]]) -> None:
    note = spoken(said)
    found = undecided(note, find_mentions(note))
    assert [(note.heard(item.first, item.last), item.why) for item in found] == wanted


def test_it_stands_among_what_is_unsure() -> None:
    note = spoken("cover back on | i'm not sure i did the bolts")
    assert OPEN in {item.why for item in understand(note).unsure}
