"""The measures of models/evaluation: values heard, and words made comparable.

Sentences and expected values are made up here; there is no published source for them.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from models.evaluation.compare import read_sentences
from models.evaluation.hearing import Pair, comparable, matched, pairs
from talklog.transcript import Source, Transcript, Word

D = Decimal


def spoken(text: str) -> Transcript:
    return Transcript(Source("audio", "x", ""), tuple(Word(word) for word in text.split()))


def heard(*values: tuple[str, str], flagged: bool = False) -> list[Pair]:
    return [Pair(D(value), frozenset([unit]), flagged) for value, unit in values]


EXPECTED = ((D(12), "thou"), (D("2.4"), "bar"))


@pytest.mark.parametrize(
    ("values", "right", "wrong"),
    [
        ([("12", "thou"), ("2.4", "bar")], 2, 0),
        ([("12.0", "thou"), ("2.40", "bar")], 2, 0),
        ([("12", "mm"), ("2.4", "bar")], 1, 1),
        ([("20", "thou"), ("2.4", "bar")], 1, 1),
        ([("2.4", "bar")], 1, 0),
        ([("2.4", "bar"), ("12", "thou")], 1, 1),  # order counts
        ([("12", "thou"), ("24", "bar"), ("2.4", "bar")], 2, 1),
        ([], 0, 0),
    ],
)
def test_right_and_silently_wrong(values: list[tuple[str, str]], right: int, wrong: int) -> None:
    assert matched(EXPECTED, heard(*values)) == (right, wrong)


def test_a_value_that_is_asked_about_is_not_silently_wrong() -> None:
    assert matched(EXPECTED, heard(("20", "thou"), flagged=True)) == (0, 0)


@pytest.mark.parametrize(
    ("said", "value", "unit"),
    [
        ("gap is twelve thou", "12", "thou"),
        ("play of half an inch", "0.5", "in"),
        ("point two of a thou", "0.2", "thou"),
        ("the book says ninety newton metres", "90", "N.m"),
    ],
)
def test_pairs_take_every_value_before_a_unit(said: str, value: str, unit: str) -> None:
    (pair,) = pairs(spoken(said))
    assert pair.value == D(value)
    assert unit in pair.units


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("twelve thou", "12 thou"),
        ("nought point oh five millimetres", "0.05 mm"),
        ("one hundred and thirty five p s i", "135 PSI"),
        ("two hundred newton meters", "200Nm"),
        ("eight hundred and fifty r p m", "850 RPM"),
    ],
)
def test_words_compare_alike(one: str, other: str) -> None:
    assert comparable(one) == comparable(other)


@pytest.mark.parametrize("name", ["test", "workshop", "development"])
def test_sentences_give_their_own_expected_values(name: str) -> None:
    """What stands in the file is what perfect hearing would score, so 100 % can be reached."""
    for key, (words, expected) in read_sentences(name).items():
        found = pairs(spoken(words))
        assert len(found) == len(expected), key
        assert matched(expected, found) == (len(expected), 0), key
