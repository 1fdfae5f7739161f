"""Spoken numbers: tables, round trips through number-to-words libraries, and properties."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from importlib.resources import files
from itertools import pairwise
from pathlib import Path

import inflect
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words

from talklog.errors import DataFileError
from talklog.number_words.lexicon import parse_lexicon
from talklog.numbers import MAX_READINGS, Number, NumberRun, find_numbers
from talklog.transcript import Word

TABLE = Path(__file__).parent / "tables" / "numbers.txt"


def spoken(text: str) -> list[Word]:
    """Words with times; "~" is a pause of a second before the next one."""
    words: list[Word] = []
    pause = 0.0
    for place, piece in enumerate(text.split()):
        if piece == "~":
            pause = 1.0
            continue
        words.append(Word(piece, float(place), place + 0.3, 0.9, pause))
        pause = 0.0
    return words


def rows() -> Iterator[tuple[str, str, str]]:
    for line in TABLE.read_text("utf-8").splitlines():
        text = line.split("#")[0].strip()
        if text:
            relation = "!=" if "!=" in text else "="
            said, wanted = text.split(f" {relation} ")
            yield said.strip(), relation, wanted.strip()


def shown(number: Number) -> str:
    marked = ("implied", "ordinal", "tail", "unfinished", "tolerance", "rough")
    high = f" to {number.high_said}" if number.high_said else ""
    return f"{number.said}{high}" + (f" ({number.form})" if number.form in marked else "")


def readings(text: str) -> list[str]:
    """All readings of a text, its runs side by side; further runs by their first reading."""
    runs = find_numbers(spoken(text))
    if len(runs) == 1:
        return [", ".join(map(shown, reading)) for reading in runs[0].readings]
    return [", ".join(shown(n) for run in runs for n in run.readings[0])] if runs else ["-"]


WANTED = [row for row in rows() if row[1] == "="]
NEVER = [row for row in rows() if row[1] == "!="]


@pytest.mark.parametrize(("said", "_", "wanted"), WANTED, ids=[row[0] for row in WANTED])
def test_table(said: str, _: str, wanted: str) -> None:
    expected = [part.strip() for part in wanted.split(" / ")]
    found = readings(said)
    if expected[-1] == "...":
        expected.pop()
        found = found[: len(expected)]
    assert found == expected


@pytest.mark.parametrize(("said", "_", "never"), NEVER, ids=[f"{r[0]}-{r[2]}" for r in NEVER])
def test_must_never_come_out(said: str, _: str, never: str) -> None:
    values = {n.value for run in find_numbers(spoken(said)) for r in run.readings for n in r}
    values |= {n.high for run in find_numbers(spoken(said)) for r in run.readings for n in r}
    assert Decimal(never) not in values


def test_each_number_has_its_own_words() -> None:
    (run,) = find_numbers(spoken("set it to eight to ten thou"))
    assert (run.first, run.last) == (3, 5)
    assert [(n.first, n.last) for n in run.readings[1]] == [(3, 3), (5, 5)]
    (run,) = find_numbers(spoken("gap seven thirty seconds"))
    assert [(n.first, n.last) for n in run.readings[0]] == [(1, 3)]
    assert [(n.first, n.last) for n in run.readings[1]] == [(1, 2)]


def test_typed_comma_separates_but_not_inside_thousands() -> None:
    words = [Word("twenty"), Word("five", pause_before=0.3)]
    assert [n.said for n in find_numbers(words)[0].readings[0]] == ["20", "5"]
    words = [Word("two"), Word("thousand")]
    words += [Word("five", pause_before=0.3), Word("hundred")]
    assert [[n.said for n in r] for r in find_numbers(words)[0].readings] == [["2500"]]


def test_short_pause_keeps_both_joined_first() -> None:
    words = [Word("twenty", 0.0, 0.3), Word("five", 0.7, 1.0, None, 0.4)]
    found = [[n.said for n in r] for r in find_numbers(words)[0].readings]
    assert found == [["25"], ["20", "5"]]


# ---- round trips ---------------------------------------------------------------------------------
# num2words 0.5 and inflect 7 speak a number, find_numbers must read it back. Both are independent
# of this project.

ENGINE = inflect.engine()


def decimals(step: str, top: int) -> list[str]:
    count = int(Decimal(top) / Decimal(step))
    return [str(Decimal(step) * place) for place in range(count + 1)]


# 496 values: 0 to 20 by 0.1; 0 to 2 by 0.01 and 0 to 1 by 0.001, thinned; integers to 70 000.
TENTHS = decimals("0.1", 20)  # 201
HUNDREDTHS = [v for v in decimals("0.01", 2) if not v.endswith("0")][:130]
THOUSANDTHS = [v for v in decimals("0.001", 1) if not v.endswith("0")][::9]  # 100
INTEGERS = [str(n) for n in (*range(0, 26), *range(30, 101, 10), 110, 119, 850, 999, 1000, 1100)]
INTEGERS += [str(n) for n in (1001, 1250, 2012, 2500, 7000, 9999, 10_000, 11_011, 12_500, 19_999)]
INTEGERS += [str(n) for n in (20_000, 33_333, 40_200, 50_005, 60_600, 63_104, 65_535, 69_999)]
INTEGERS += [str(n) for n in (70_000, 21_900, 48_048, 56_789, 1999, 3001, 4096)]
VALUES = [*TENTHS, *HUNDREDTHS, *THOUSANDTHS, *INTEGERS]
WIDE = [*decimals("0.007", 20), *map(str, range(0, 70_001, 41))]  # 4565 more


def clean(text: str) -> str:
    return text.replace(",", "").lower()


def only_value(text: str) -> list[Decimal]:
    runs = find_numbers([Word(piece) for piece in text.split()])
    assert len(runs) == 1, text
    assert runs[0].first == 0 and runs[0].last == len(text.split()) - 1, text
    return [n.value for n in runs[0].readings[0]]


def test_there_are_496_values() -> None:
    assert len(VALUES) == len(set(VALUES)) == 496


SPEAKERS = {
    "num2words": lambda value: num2words(Decimal(value)),
    "num2words, British": lambda value: num2words(Decimal(value), lang="en_GB"),
    "inflect": lambda value: ENGINE.number_to_words(value),
    "inflect without and": lambda value: ENGINE.number_to_words(value, andword=""),
    "inflect with oh": lambda value: ENGINE.number_to_words(value, zero="oh"),
    "inflect with nought": lambda value: ENGINE.number_to_words(value, zero="nought"),
    "without hyphens": lambda value: num2words(Decimal(value)).replace("-", " "),
    "minus": lambda value: f"minus {num2words(Decimal(value))}",
}


@pytest.mark.parametrize("speaker", SPEAKERS)
def test_round_trip_of_496_values(speaker: str) -> None:
    failed = []
    for value in VALUES:
        text = clean(SPEAKERS[speaker](value))
        if text == "oh":  # alone it is an exclamation, not a number
            continue
        wanted = -Decimal(value) if speaker == "minus" else Decimal(value)
        if only_value(text) != [wanted]:
            failed.append((value, text, only_value(text)))
    assert failed == []


@pytest.mark.parametrize("andword", ["and", ""])
def test_round_trip_of_many_more_values(andword: str) -> None:
    texts = {value: clean(ENGINE.number_to_words(value, andword=andword)) for value in WIDE}
    failed = [v for v, text in texts.items() if only_value(text) != [Decimal(v)]]
    assert failed == []


def test_spoken_precision_is_kept() -> None:
    """inflect says "thirty point zero", num2words "thirty": the record must keep the difference."""
    for value in TENTHS:
        text = clean(ENGINE.number_to_words(value))
        (run,) = find_numbers([Word(piece) for piece in text.split()])
        assert run.readings[0][0].said == value


# ---- properties ----------------------------------------------------------------------------------

# Two values joined by a hyphen ("ten-fifteen") are cut apart before: by typed, or never said so.
LEXICON = (
    "one two three nine ten twelve nineteen twenty fifty ninety hundred thousand million zero "
    "nought oh point decimal half quarter eighth sixteenths seconds second third first tenths "
    "thousandths double triple couple of dozen a an and to minus plus or between from er thou "
    "gap 0.25 12,500 1/4 3-1/2 10-15 -5 2nd twenty-five thirty-one no for"
)
PAUSES = st.sampled_from([0.0, 0.0, 0.0, 0.35, 0.9])
NUMBERISH = st.lists(
    st.builds(Word, st.sampled_from(LEXICON.split()), start=st.none(), pause_before=PAUSES),
    max_size=14,
)
ANYTHING = st.lists(st.builds(Word, st.text(max_size=12)), max_size=12)
ALONE = "one two three nine ten twelve nineteen twenty fifty ninety zero nought 0.25 1/4 12,500"


def numbers_of(run: NumberRun) -> list[Number]:
    return [number for reading in run.readings for number in reading]


def sound(words: Sequence[Word]) -> tuple[NumberRun, ...]:
    """Everything that must hold for any words whatever."""
    runs = find_numbers(words)
    assert all(left.last < right.first for left, right in pairwise(runs))
    for run in runs:
        assert 1 <= len(run.readings) <= MAX_READINGS
        assert 0 <= run.first <= run.last < len(words)
        for number in numbers_of(run):
            assert run.first <= number.first <= number.last <= run.last
            assert Decimal(number.said) == number.value
            assert (number.high is None) == (number.high_said is None)
            assert number.high is None or number.high == Decimal(number.high_said) > number.value
        for reading in run.readings:
            for left, right in pairwise(reading):
                inside_one_word = left.last == right.first and "-" in words[left.last].text
                assert left.last < right.first or inside_one_word
    return runs


@settings(max_examples=400, deadline=None)
@given(NUMBERISH)
def test_number_words_in_any_order(words: list[Word]) -> None:
    runs = sound(words)
    covered = {at for run in runs for n in run.readings[0] for at in range(n.first, n.last + 1)}
    lost = [w.text for at, w in enumerate(words) if w.text in ALONE.split() and at not in covered]
    assert [text for text in lost if text != "one"] == []  # "that one" is no number


@settings(max_examples=200, deadline=None)
@given(ANYTHING)
def test_any_text(words: list[Word]) -> None:
    sound(words)


@settings(max_examples=200, deadline=None)
@given(NUMBERISH)
def test_a_value_depends_on_its_own_words_only(words: list[Word]) -> None:
    """Each number can be found again from nothing but the words of its span."""
    for run in find_numbers(words):
        for number in run.readings[0]:
            alone = [replaced(word) for word in words[number.first : number.last + 1]]
            values = {n.value for r in find_numbers(alone) for n in numbers_of(r)}
            if number.form not in ("ordinal", "tail", "digits", "fraction") and number.high is None:
                assert number.value in values


def replaced(word: Word) -> Word:
    return Word(word.text)


@pytest.mark.parametrize(
    "text", ["one", "one ten", "twenty", "hundred and", "oh", "minus", "a half"]
)
def test_a_thousand_number_words_stay_quick(text: str) -> None:
    words = [Word(piece) for piece in (text.split() * 1000)[:1000]]
    runs = sound(words)
    assert all(len(run.readings) <= MAX_READINGS for run in runs)


def test_very_long_words_are_no_numbers() -> None:
    assert find_numbers([Word("9" * 10_000), Word("one-" * 5_000 + "one")]) == ()


# ---- the word file -------------------------------------------------------------------------------

WORDS = (files("talklog") / "data" / "numbers.toml").read_text("utf-8")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (WORDS + "[colour]\nred = 1", "tables must be exactly .* check colour"),
        (WORDS.replace("[repeat]", "[repeats]"), "check repeat, repeats"),
        (WORDS.replace('of = ["of"]', 'off = ["of"]'), r"entries of \[class\] .* check of, off"),
        (WORDS.replace('words = ["tenth"', 'forms = ["tenth"'), r"entries of \[unit_like\]"),
        (WORDS.replace('of = ["of"]', 'of = ["ten"]'), "'ten' stands there twice"),
        (WORDS.replace("three = 3", 'three = "3"', 1), "'three' stands there twice, or is no"),
    ],
)
def test_broken_word_file_is_refused(text: str, said: str) -> None:
    with pytest.raises(DataFileError, match=said):
        parse_lexicon(text)
