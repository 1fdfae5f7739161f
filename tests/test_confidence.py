"""How sure a reading is: what is heard again, what sounds alike, thresholds, alternatives."""

import json
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from talklog import confidence
from talklog.assemble import understand
from talklog.audio import RATE
from talklog.bands import parse_bands
from talklog.check import check
from talklog.errors import DataFileError
from talklog.numbers import find_numbers
from talklog.rehearing import SPEEDS, hear_again, stretches
from talklog.soundalikes import other_numbers, parse_confusions
from talklog.transcript import SECOND, Rehearing, Source, Transcript, Way, Word

SOURCE = Source("audio", "x.wav", "0" * 64, 9.0, "scripted", "x")


def heard(text: str, *, sure: float = 1.0, again: tuple[tuple[str, float, str], ...] = ()):
    """A transcript, half a second a word; ``again`` is (how, share, words) of other hearings."""
    words = tuple(
        Word(word, at * 0.5, at * 0.5 + 0.4, sure) for at, word in enumerate(text.split())
    )
    hearings = []
    for how in dict.fromkeys(how for how, _, _ in again):
        ways = tuple(
            Way(share, tuple((w, i * 0.5, i * 0.5 + 0.4) for i, w in enumerate(said.split())))
            for name, share, said in again
            if name == how
        )
        hearings.append(Rehearing(how, 0.0, words[-1].end, ways))
    return Transcript(SOURCE, words, tuple(hearings))


def reading(transcript):
    (found,) = understand(transcript).readings
    return found


SAME = "end float thirteen thou"
STEADY = (("plain", 1.0, SAME), ("slow", 1.0, SAME))
SPLIT = (
    ("plain", 0.45, SAME),
    ("plain", 0.55, "end float thirty thou"),
    ("slow", 0.4, SAME),
    ("slow", 0.6, "end float thirty thou"),
)


def test_a_number_that_stays_the_same_is_sure() -> None:
    found = reading(heard(SAME, again=STEADY))
    assert found.doubt is None
    assert found.confidence > 0.97


def test_a_number_that_changes_is_asked_about_with_what_else_it_was() -> None:
    found = reading(heard(SAME, sure=0.9, again=SPLIT))
    assert found.value == 13, "a value is never changed"
    assert found.doubt == '"thirteen thou" was not heard clearly'
    assert (found.alternatives[0].value, found.alternatives[0].unit) == (30, "thou")
    assert "57%" in found.alternatives[0].why or "58%" in found.alternatives[0].why


def test_another_unit_is_another_reading() -> None:
    other = (("plain", 1.0, "took six point five metres"), ("slow", 1.0, "six point five metres"))
    found = reading(heard("oil six point five litres", again=other))
    same = reading(heard("oil six point five litres", again=()))
    assert found.confidence < same.confidence


def test_badly_heard_words_are_asked_about_without_second_hearings() -> None:
    assert reading(heard(SAME, sure=0.3)).doubt
    assert reading(heard(SAME, sure=0.3)).confidence < 0.8


def test_alternatives_are_listed_where_there_is_no_band() -> None:
    (judged,) = check(understand(heard(SAME, sure=0.9, again=SPLIT)), None).readings
    assert judged.verdict == "unsure"
    assert "It may be 30 thou" in judged.reason


BAND = """
[machine]
key = "x"
name = "X"
[[band]]
quantity = "play"
component = "shaft"
low = {low}
high = {high}
unit = "thou"
source = "card"
"""


def judged(low: int, high: int, sure: float):
    """The verdict on 13 thou that sounds like 30."""
    notes = understand(heard("shaft play thirteen thou"))
    (found,) = notes.readings
    other = confidence.Alternative(Decimal(30), "30", "thou", "sounds alike")
    alike = () if sure > 0.99 else (other,)
    notes = replace(notes, readings=(replace(found, doubt=None, sounds_like=alike),))
    (result,) = check(notes, parse_bands(BAND.format(low=low, high=high))).readings
    return result


def test_a_band_raises_doubt_and_changes_no_value() -> None:
    outside = judged(25, 35, 0.95)
    assert outside.verdict == "unsure" and outside.reading.value == 13
    assert "30 thou sounds like it and would be in band" in outside.reason
    assert judged(25, 35, 0.999).verdict == "low"
    assert judged(40, 50, 0.95).verdict == "low"
    assert judged(10, 15, 0.95).verdict == "in_band"


def test_typed_readings_have_no_confidence() -> None:
    from talklog.typed import read_text

    found = reading(read_text(b"end float 13 thou", name="x"))
    assert found.confidence is None and found.doubt is None


def test_a_second_listener_who_agrees_and_one_who_does_not() -> None:
    agreed = reading(heard(SAME, again=(*SPLIT, (SECOND, 1.0, "end float 13 thou"))))
    assert agreed.confidence > reading(heard(SAME, again=SPLIT)).confidence
    differs = reading(heard(SAME, again=(*STEADY, (SECOND, 1.0, "end float 30 thou"))))
    assert differs.doubt == "the second listener heard 30 thou"
    assert differs.value == 13 and differs.alternatives[0].value == 30
    hours = reading(heard(SAME, again=(*STEADY, (SECOND, 1.0, "end float 13 hours"))))
    assert hours.doubt is None, "it does not know thou"
    text = "oil six point five litres"
    metres = reading(heard(text, again=((SECOND, 1.0, "oil 6.5 metres then 6.5 again"),)))
    assert metres.doubt == "the second listener heard 6.5 m"
    silent = reading(heard(SAME, again=(*STEADY, (SECOND, 1.0, "end float and so"))))
    assert silent.doubt is None


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 1), st.floats(0, 1))
def test_more_agreement_is_never_less_sure(one: float, other: float) -> None:
    low, high = sorted((one, other))
    found = [
        confidence.confidence(
            dict.fromkeys(confidence.FEATURES, 1.0) | {"agree": share, "least": share},
            confidence.judges()["again"],
        )
        for share in (low, high)
    ]
    assert found[0] <= found[1]


def test_a_short_word_that_moves_a_little_is_the_same() -> None:
    words = tuple(
        Word(w, s, e, 0.95)
        for w, s, e in (("runout", 4.9, 5.3), ("two", 5.61, 5.73), ("thou", 5.88, 6.03))
    )
    ways = (Way(1.0, (("runout", 4.9, 5.3), ("two", 5.6, 5.71), ("thou", 5.88, 6.02))),)
    again = tuple(Rehearing(how, 5.5, 6.1, ways) for how in SPEEDS)
    moved = confidence.features(
        confidence.Spoken(1, 1, (2, 2), "2"), Transcript(SOURCE, words, again)
    )
    assert moved["agree"] == moved["least"] > 3


# ---- words that sound alike ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "others"),
    [
        ("thirteen", {30}),
        ("fifty", {15}),
        ("one fifteen", {150}),
        ("nought point oh four", {Decimal("0.4")}),
    ],
)
def test_what_a_number_may_have_been(said: str, others: set) -> None:
    words = [Word(word) for word in said.split()]
    assert others <= {number.value for number in other_numbers(words)}
    (run,) = find_numbers(words)
    assert run.readings[0][0].value not in {number.value for number in other_numbers(words)}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('alike = [["five"]]', "group 1 needs two"),
        ('alike = [["five", "nine"], ["oh", 4]]', "group 2 holds something that is no text"),
        ('alike = []\nmore = ""', "no more"),
        ("alike = [", "valid TOML"),
        ("alike = []\n[more]", "no more"),
    ],
)
def test_a_wrong_table_of_confusions_is_refused(text: str, says: str) -> None:
    with pytest.raises(DataFileError, match=says):
        parse_confusions(f'[homophones]\nto = "two"\n[words]\n{text}')
    with pytest.raises(DataFileError, match="homophone"):
        parse_confusions("[homophones]\nto = 2\n[words]\nalike = []")


def test_to_thou_heard_again_is_two_thou() -> None:
    said = "end float two thou"
    again = (("plain", 1.0, "end float to thou"), ("slow", 1.0, said))
    same = (("plain", 1.0, said), ("slow", 1.0, said))
    assert reading(heard(said, again=again)).confidence == (
        reading(heard(said, again=same)).confidence
    )


def test_wrong_weights_are_refused() -> None:
    good = {
        "ask": 0.9,
        "ask_outside": 0.9,
        "weights": dict.fromkeys(("constant", *confidence.FEATURES), 0.0),
    }
    short = {
        k: v
        for k, v in good["weights"].items()
        if k not in confidence.FEATURES[confidence.WORDS_ONLY :]
    }
    whole = {"again": good, "without": good | {"weights": short}}
    assert set(confidence.parse_judges(json.dumps(whole))) == {"again", "without"}
    for broken in (
        {"again": good},
        whole | {"more": 1},
        whole | {"again": good | {"weights": short}},
        whole | {"again": good | {"ask": "high"}},
    ):
        with pytest.raises(DataFileError, match="fit_doubt"):
            confidence.parse_judges(json.dumps(broken))


# ---- hearing again -------------------------------------------------------------------------------


class Repeater:
    """Says "five thou" in two ways, and remembers how much sound it was given."""

    def __init__(self) -> None:
        self.lengths: list[int] = []

    def ways(self, block: bytes) -> tuple[Way, ...]:
        self.lengths.append(len(block) // 2)
        return (Way(0.75, (("five", 0.2, 0.5), ("thou", 0.5, 0.9))), Way(0.25, ()))


def blocks(seconds: float) -> list[bytes]:
    sound = np.zeros(int(seconds * RATE), "<i2")
    return [sound[at : at + 4_000].tobytes() for at in range(0, len(sound), 4_000)]


def test_only_the_seconds_around_numbers_are_heard_again() -> None:
    words = heard("checked the belt it is fine and then the play is five thou so okay").words
    engine = Repeater()
    found = hear_again(words, blocks(8.0), engine)
    assert [hearing.how for hearing in found] == list(SPEEDS)
    plain, slow = engine.lengths
    assert 2 * RATE < plain < 4 * RATE
    assert slow == pytest.approx(plain / SPEEDS["slow"], abs=2)
    first = found[0].ways[0].words[0]
    assert first[0] == "five" and words[9].start < first[1] + 0.3 < words[11].end


def test_numbers_side_by_side_share_a_stretch_and_long_lists_are_cut() -> None:
    words = heard("five thou and six thou " + "and seven thou " * 12).words
    spans = stretches(words)
    assert spans[0][0] == 0 and len(spans) > 2
    assert all(last - first < 16 for first, last in spans)


def test_nothing_is_read_again_without_numbers() -> None:
    def never():
        raise AssertionError("the recording was read again")
        yield b""

    assert hear_again(heard("all is well").words, never(), Repeater()) == ()
