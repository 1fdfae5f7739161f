"""``read --explain``: every known word marked, every number accounted for with its reason."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from talklog.assemble import understand
from talklog.explain import explain
from talklog.mentions import find_mentions
from talklog.trained import final_roles
from talklog.vocabulary import load
from tests.test_understanding import spoken

NOTE = (
    "right front left tyre was at twenty eight p s i so i've pumped it up to thirty two book says "
    "thirty five used a ten mil spanner on the drain plug"
)


@pytest.mark.parametrize(
    "line",
    [
        "[front left: place front left] [tyre: thing tyre]",
        "[twenty eight: number 28]",
        "'thirty five' is quoted_spec: \"book says\" stands near",
        "'ten mil spanner' is tool_size",
        "pressure of tyre, front left: 28 psi, as_found",
        "'pumped it up to' is set: reaches 9 words forward",
    ],
)
def test_what_it_shows(line: str) -> None:
    assert line in " ".join(explain(spoken(NOTE)).split())


def test_cues_of_one_phrase_stand_as_in_the_file() -> None:
    """Not as they happen to lie in memory, which is another way at every start."""
    cues = tuple(dict.fromkeys(load().cues))
    kinds = [(cue.phrase, cue.category) for cue in cues]
    twice = {kind for kind in kinds if kinds.count(kind) > 1 and kind[1] != "pseudo"}
    assert len(twice) > 10
    for kind in twice:
        found = [mention.cue for mention in find_mentions(spoken(" ".join(kind[0]))).cues]
        own = [cue for cue in cues if (cue.phrase, cue.category) == kind]
        assert [cue for cue in found if (cue.phrase, cue.category) == kind] == own


WORDS = ["tyre", "two", "point", "bar", "no", "one", "fifty", "p", "s", "i", "was", "front", "thou"]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(WORDS), min_size=1, max_size=30))
def test_no_number_and_no_reading_is_left_out(words: list[str]) -> None:
    transcript = spoken(" ".join(words))
    text = " ".join(explain(transcript).split())
    for number in final_roles(transcript, find_mentions(transcript))[0]:
        assert f"is {number.role}: {' '.join(number.because.split())}" in text
    for reading in understand(transcript).readings:
        assert f": {reading.said} {reading.unit or 'without a unit'}, {reading.role}" in text
