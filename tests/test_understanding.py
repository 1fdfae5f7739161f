"""What a note says: the sentence table, corrections, places, and what holds for any text."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from talklog import vocabulary, word_files
from talklog.assemble import understand
from talklog.errors import DataFileError
from talklog.mentions import find_mentions
from talklog.notes import Notes
from talklog.numbers import find_numbers
from talklog.trained import final_roles
from talklog.transcript import Source, Transcript, Word

TABLE = Path(__file__).parent / "tables" / "sentences.txt"
FEWEST_WRONG = 10  # rows that come out wrong without any cue


def spoken(
    text: str, *, pauses: dict[int, float] | None = None, confidence: float | None = None
) -> Transcript:
    """A transcript of the words, with pauses before some of them."""
    words = tuple(
        Word(word, pause_before=(pauses or {}).get(at, 0.0), confidence=confidence)
        for at, word in enumerate(text.split())
    )
    return Transcript(Source("audio", "note.wav", "0" * 64), words)


def rows() -> list[tuple[str, str]]:
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    return [
        tuple(part.strip() for part in line.split("=>"))
        for line in lines
        if line.strip() and not line.startswith("#")
    ]


def described(transcript: Transcript, notes: Notes) -> str:
    """Readings, things set aside and doubts, in the order they were said."""
    found = [
        (r.last, f"{r.said} {r.unit} {r.role}")
        if r.doubt is None
        else (r.last, f"? {_number_words(transcript, r.first, r.last)}")
        for r in notes.readings
    ]
    found += [(a.last, f"! {a.why} {transcript.heard(a.first, a.last)}") for a in notes.set_aside]
    found += [(u.last, f"? {transcript.heard(u.first, u.last)}") for u in notes.unsure]
    return " ; ".join(text for _, text in sorted(found))


def _number_words(transcript: Transcript, first: int, last: int) -> str:
    runs = find_numbers(transcript.words[first : last + 1])
    return " ".join(transcript.heard(first + run.first, first + run.last) for run in runs[-1:])


@pytest.mark.parametrize(("sentence", "wanted"), rows(), ids=lambda text: text[:40])
def test_sentence_table(sentence: str, wanted: str) -> None:
    transcript = spoken(sentence)
    assert described(transcript, understand(transcript)) == wanted


def test_places_and_components() -> None:
    notes = understand(spoken("front left tyre two point two front right two point one bar"))
    assert [(r.component, r.position) for r in notes.readings] == [
        ("tyre", "front left"),
        ("tyre", "front right"),
    ]
    notes = understand(spoken("cylinder one one forty five p s i cylinder two one fifty p s i"))
    assert [(r.component, r.position) for r in notes.readings] == [
        ("cylinder", "1"),
        ("cylinder", "2"),
    ]


def test_unit_is_not_borrowed_across_subjects() -> None:
    notes = understand(spoken("gap was four then i changed the battery twelve point six volts"))
    assert [(r.said, r.unit) for r in notes.readings if r.unit == "V"] == [("12.6", "V")]


def test_a_pause_ends_the_reach_of_a_cue() -> None:
    text = "so the book says oil pressure three bar"
    assert understand(spoken(text)).set_aside
    notes = understand(spoken(text, pauses={4: 1.0}))
    assert [r.said for r in notes.readings] == ["3"] and not notes.set_aside


def test_badly_heard_value_is_unsure() -> None:
    sure, unsure = (understand(spoken("oil pressure three bar", confidence=c)) for c in (1.0, 0.5))
    assert sure.readings[0].doubt is None
    assert unsure.readings[0].doubt and unsure.readings[0].said == "3"


def test_parts_follow_ups_meter_and_cautions() -> None:
    notes = understand(spoken("fitted four new bolts check again in five hundred miles"))
    assert [(p.name, p.quantity, p.status) for p in notes.parts] == [("bolt", 4, "fitted")]
    assert notes.follow_ups[0].due.distance == ("500", "mi")
    notes = understand(spoken("forty two thousand one hundred miles on the clock"))
    assert (notes.meter.said, notes.meter.unit) == ("42100", "mi")
    notes = understand(spoken("careful the fan can start by itself"))
    assert notes.cautions[0].text.startswith("careful")
    notes = understand(spoken("still need to grease the front axle"))
    assert [(a.verb, a.component, a.done) for a in notes.actions] == [("grease", "axle", False)]


WORDS = st.sampled_from(
    [
        "one",
        "two",
        "ten",
        "twelve",
        "thirty",
        "hundred",
        "point",
        "nought",
        "oh",
        "half",
        "quarter",
        "a",
        "and",
        "to",
        "between",
        "thou",
        "bar",
        "volts",
        "newton",
        "metres",
        "p",
        "s",
        "i",
        "mil",
        "degrees",
        "tyre",
        "battery",
        "cylinder",
        "number",
        "front",
        "left",
        "gap",
        "book",
        "says",
        "should",
        "be",
        "no",
        "make",
        "that",
        "sorry",
        "set",
        "to",
        "check",
        "again",
        "in",
        "miles",
        "hours",
        "spanner",
        "m",
        "eight",
        "new",
        "bolt",
        "fitted",
        "um",
    ]
)


@settings(max_examples=300, deadline=None)
@given(st.lists(WORDS, max_size=25))
def test_nothing_is_invented_and_every_number_is_accounted_for(words: list[str]) -> None:
    transcript = spoken(" ".join(words))
    notes = understand(transcript)
    roled, _ = final_roles(transcript, find_mentions(transcript))
    values = {n.said for item in roled for n in (item.number, *item.others)}
    for reading in notes.readings:
        assert 0 <= reading.first <= reading.last < len(transcript.words)
        assert reading.said in values
    assert all(0 <= a.first <= a.last < len(words) for a in notes.set_aside + notes.unsure)


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=80))
def test_any_text_is_taken(text: str) -> None:
    understand(spoken(text))


def test_cue_file_is_loaded_strictly() -> None:
    good = {"category": "set", "direction": "forward", "scope": 3, "words": ["set to"]}
    assert word_files.parse_cues([good])
    for wrong in ({"category": "sets"}, {"direction": "sideways"}, {"colour": "red"}):
        with pytest.raises(DataFileError, match="cue 1"):
            word_files.parse_cues([good | wrong])


def test_without_cues_the_table_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """Proof that the table depends on the cue file, whatever the reader knows without it."""
    from dataclasses import replace

    from talklog import mentions

    empty = replace(vocabulary.load(), cues=())
    monkeypatch.setattr(mentions, "load", lambda: empty)
    mentions._matcher.cache_clear()
    try:
        wrong = [
            sentence
            for sentence, wanted in rows()
            if described(spoken(sentence), understand(spoken(sentence))) != wanted
        ]
        assert len(wrong) >= FEWEST_WRONG
    finally:
        mentions._matcher.cache_clear()


def _breath(text: str) -> Transcript:
    """ "|" is a pause of 0.4 s, as between two phrases of one breath."""
    words, pause = [], 0.0
    for word in text.split():
        if word == "|":
            pause = 0.4
        else:
            words.append(Word(word, pause_before=pause))
            pause = 0.0
    return Transcript(Source("text", "x", "0" * 64), tuple(words))


@pytest.mark.parametrize(
    ("text", "aside"),
    [
        ("limit is three to six | flywheel bolts eighty newton metres", ["three to six"]),
        ("limit is nine mil rear disc | front disc twenty mil", ["nine mil"]),
    ],
)
def test_behind_a_pause_a_limit_is_but_a_hint(text: str, aside: list[str]) -> None:
    """What follows it may be a reading, and is asked about if it may be a limit too."""
    transcript = _breath(text)
    notes = understand(transcript)
    assert [transcript.heard(a.first, a.last) for a in notes.set_aside] == aside
    assert len(notes.readings) == 1
    assert (notes.readings[0].unit != "mm") or notes.readings[0].doubt is not None


@pytest.mark.parametrize(
    ("text", "states"),
    [
        ("gearbox oil two bar hot | gate tyre thirty psi", ["hot", None]),
        ("starter nine amps no load | fourteen amps turning", ["no load", None]),
        ("cold front thirty psi | rear thirty four psi", ["cold", "cold"]),
    ],
)
def test_a_state_is_of_the_value_it_was_said_with(text: str, states: list[str | None]) -> None:
    assert [reading.condition for reading in understand(_breath(text)).readings] == states
