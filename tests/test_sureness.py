"""How sure a reading is: the model itself, its file, and what it does to readings."""

import json

import pytest

from talklog import sureness
from talklog.assemble import context_of, understand
from talklog.errors import DataFileError
from talklog.mentions import find_mentions
from talklog.readings import make_reading
from talklog.roled import MEASURING
from talklog.trained import final_roles
from talklog.transcript import Source, Transcript, Word


def transcript(text: str) -> Transcript:
    return Transcript(Source("audio", "note", "0" * 64), tuple(map(Word, text.split())))


def stored() -> dict:
    model = sureness.model()
    return {"ask": model.ask, "trust": model.trust, "weights": dict(model.weights)}


def test_the_file_that_comes_with_talklog_can_be_read() -> None:
    assert 0.5 < sureness.model().ask <= sureness.model().trust < 1
    assert set(sureness.FEATURES) == set(sureness.model().weights)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data.pop("ask"),
        lambda data: data["weights"].pop("reading"),
        lambda data: data["weights"].update(surprise=1.0),
        lambda data: data["weights"].update(reading="much"),
        lambda data: data["weights"].update(reading=float("nan")),
        lambda data: data.update(more=1),
    ],
    ids=[
        "no threshold",
        "a weight is missing",
        "unknown weight",
        "no number",
        "not finite",
        "unknown key",
    ],
)
def test_a_broken_file_is_refused(spoil) -> None:
    data = stored()
    spoil(data)
    with pytest.raises(DataFileError, match=r"sureness\.json"):
        sureness.parse_model(json.dumps(data))


def test_no_file_at_all_is_refused() -> None:
    with pytest.raises(DataFileError, match=r"sureness\.json"):
        sureness.parse_model("")


def test_by_hand() -> None:
    """-1 + 2 * 0.5 is 0: even odds."""
    model = sureness.Sureness(0.7, 0.9, {"constant": -1.0, "reading": 2.0})
    assert model.of({"constant": 1.0, "reading": 0.5}) == pytest.approx(0.5)


def test_what_the_reader_is_surer_of_is_surer() -> None:
    features = dict.fromkeys(sureness.FEATURES, 0.0) | {"constant": 1.0}
    chances = [sureness.model().of(features | {"reading": odds}) for odds in (0.0, 2.0, 4.0)]
    assert chances == sorted(chances) and chances[0] < chances[2]


SENTENCES = (
    "rear tyre two point two bar",
    "wheel nuts torqued to one ten newton metres",
    "left pad six millimetres and the right five",
    "belt on the big pillar drill slipping it is a forty millimetre belt",
    "two batteries one eleven point nine volts the other twelve four",
    "eighty newton metres or ninety",
)


@pytest.mark.parametrize("said", SENTENCES)
def test_only_the_question_changes(said: str) -> None:
    """What is read stays; a question that the speaker's own words ask for stays too."""
    note = transcript(said)
    mentions = find_mentions(note)
    roled, seen = final_roles(note, mentions)
    context = context_of(note, mentions, roled, seen)
    plain = [make_reading(context, n, []) for n in context.roled if n.role in MEASURING]
    for before in (reading for reading in plain if hasattr(reading, "doubt")):
        item = next(n for n in context.roled if n.last == before.last)
        after = sureness.judged(context, item, before, [])
        assert (after.value, after.unit, after.role) == (before.value, before.unit, before.role)
        if before.doubt not in (None, *sureness.GIVEN_UP):
            assert after.doubt == before.doubt


def test_clear_readings_are_not_asked_about() -> None:
    for said in SENTENCES[:2]:
        assert [reading.doubt for reading in understand(transcript(said)).readings] == [None]
