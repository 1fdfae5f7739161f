"""Short words of many trades: which name they have in a record."""

from __future__ import annotations

import pytest

from talklog.errors import DataFileError
from talklog.trades import dictionary_name, phrases_of, recorded_name
from talklog.vocabulary import load
from talklog.word_files import parse_trades

# What was said, the other words of the note, the name in the record. Common practice, no source.
NAMED = [
    ("pads", "four mil", "pad"),
    ("pads", "four mil calipers free", "brake pad"),
    ("pads", "discs ten mil", "brake pad"),
    ("pads", "brake fine boom wear", "pad"),
    ("blade", "deck washed", "mower blade"),
    ("blade", "saw table", "blade"),
    ("top hose", "radiator flushed", "top hose"),
    ("calliper", "free", "brake caliper"),
]


@pytest.mark.parametrize(("said", "others", "name"), NAMED)
def test_a_short_word_takes_the_name_of_a_trade_that_the_note_shows(
    said: str, others: str, name: str
) -> None:
    note = phrases_of([*said.split(), *others.split()])
    own = {form: key for key, forms in load().components.items() for form in forms}
    assert recorded_name(said.split(), own[tuple(said.split())], note) == name


def test_the_name_in_the_dictionary_is_known_of_a_kept_word() -> None:
    assert dictionary_name("pad") == "brake pad"
    assert dictionary_name("wear pad") == "wear pad"


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ([{"words": ["pad"], "shown_by": ["brake"]}], "not_with is missing"),
        ([{"words": ["pad"], "shown_by": [], "not_with": []}] * 2, "in another trade too"),
        ([{"words": [], "shown_by": [], "not_with": [], "when": []}], "when"),
    ],
)
def test_a_trade_that_breaks_the_rules_is_refused(table: list[dict[str, list[str]]], said: str):
    with pytest.raises(DataFileError, match=said):
        parse_trades(table)
