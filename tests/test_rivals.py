"""Values between which the speaker could not choose are asked about; lists of values are not."""

from __future__ import annotations

import pytest

from talklog.mentions import find_mentions
from talklog.rivals import DOUBT, with_rivals
from talklog.roles import assign_roles
from talklog.transcript import Source, Transcript, Word


def spoken(said: str) -> Transcript:
    return Transcript(Source("audio", "test", "0" * 64), tuple(map(Word, said.split())))


# said -> the values that get the doubt. Common practice, no source.
ROWS = [
    ("crank pin nut eighty newton metres or ninety", {"80", "90"}),
    ("clamp torque eight newton metres or is it nine newton metres", {"8", "9"}),
    ("case pressure three bar it may have been four", {"3"}),  # the 4 is no reading
    ("brake pad six millimetres front pad or rear pad four millimetres", set()),
    ("belt tension twenty pounds or a hundred newtons", set()),
    ("brake pad thickness six millimetres and five millimetres", set()),
    ("hub play two thou or two thou", set()),
    ("the book says point four millimetres or point five", {"0.4", "0.5"}),
]


@pytest.mark.parametrize(("said", "wanted"), ROWS, ids=[row[0] for row in ROWS])
def test_rivals(said: str, wanted: set[str]) -> None:
    transcript = spoken(said)
    mentions = find_mentions(transcript)
    found = with_rivals(transcript, mentions, assign_roles(transcript, mentions))
    assert {item.number.said for item in found if item.doubt == DOUBT} == wanted


def test_a_doubt_that_was_there_stays() -> None:
    transcript = spoken("fork oil one ten millimetres or one fifteen millimetres")
    mentions = find_mentions(transcript)
    roled = assign_roles(transcript, mentions)
    before = {item.first: item.doubt for item in roled if item.doubt}
    after = {item.first: item.doubt for item in with_rivals(transcript, mentions, roled)}
    assert before.items() <= after.items()
