"""Corrections by a person: nothing invented, nothing lost, judged again, always a valid record."""

import json
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from test_record import NOTES, SCHEMA, SHEET, reading, record

from talklog.corrected.fields import ROLES
from talklog.corrections import KINDS, WHYS, Correction, correct, is_looked_at
from talklog.errors import CorrectionError
from talklog.notes import Notes
from talklog.record import load_record, to_json
from talklog.units import convert, load_units

FULL = record()
GAP = 3  # the reading without a unit
WHO = "Ada Bench"


def changed(index: int, *, sheet=None, made=FULL, **changes: str):
    return correct(made, Correction("correct", WHO, index=index, changes=changes), sheet=sheet)


def test_a_corrected_value_is_judged_again_by_the_band_it_carries() -> None:
    """0.20 to 0.30 mm; 10 thou is 0.254 mm, 12 thou is 0.3048 mm (1 thou = 0.0254 mm exactly)."""
    before = FULL.readings[1]
    assert (before.value, before.verdict) == ("10", "in_band")
    made = changed(1, value="12")
    after = made.record.readings[1]
    assert (after.value, after.verdict, after.si.value) == ("12", "high", "0.3048")
    assert after.band == before.band
    assert (after.heard, after.words, after.start) == (before.heard, before.words, before.start)
    assert after.reason.startswith(f"Corrected by {WHO}: value 10 to 12; heard “{before.heard}”.")
    assert "value 10 to 12" in made.what and before.heard in made.what
    assert any(f.about == "inlet valve: clearance" and f.level == "stop" for f in made.record.flags)


def test_flags_of_other_readings_stay_word_for_word() -> None:
    made = changed(2, value="120", unit="N.m").record
    kept = [flag for flag in FULL.flags if flag.about != "head bolt: torque"]
    assert [flag for flag in made.flags if flag.about != "head bolt: torque"] == kept
    assert any(flag.about == "head bolt: torque" for flag in FULL.flags)
    assert not any(flag.about == "head bolt: torque" for flag in made.flags)


def test_a_finding_put_right_by_a_correction_becomes_a_note() -> None:
    bad = changed(1, value="14").record
    levels = [flag.level for flag in bad.flags if flag.about == "inlet valve: clearance"]
    assert sorted(levels) == ["look", "stop"]
    good = changed(1, made=bad, value="10").record
    levels = [flag.level for flag in good.flags if flag.about == "inlet valve: clearance"]
    assert levels == ["note"]


def test_another_thing_is_not_judged_by_old_limits_without_asking() -> None:
    made = changed(0, component="exhaust valve").record
    after = made.readings[0]
    assert after.verdict == "unsure" and "inlet valve" in after.reason
    assert any(one.words == after.words for one in made.unsure)
    accepted = correct(made, Correction("accept", WHO, index=0)).record.readings[0]
    assert accepted.verdict == "high"
    assert accepted.reason.startswith(f"Accepted by {WHO}. Corrected by {WHO}: component")


def test_another_place_of_the_same_thing_keeps_the_limits_and_says_so() -> None:
    after = changed(0, position="cylinder 2").record.readings[0]
    assert after.verdict == "high" and "The limits are those it was heard with" in after.reason


def test_with_the_sheet_another_thing_is_judged_by_its_own_band() -> None:
    after = changed(2, sheet=SHEET, component="inlet valve", quantity="clearance", value="0.25",
                    unit="mm").record.readings[2]  # fmt: skip
    assert (after.verdict, after.band.unit, after.band.low) == ("in_band", "mm", "0.20")


def test_a_unit_not_said_can_be_given_but_is_never_accepted_in() -> None:
    assert FULL.readings[GAP].unit is None
    judged = record(Notes((replace(NOTES.readings[0], unit=None, doubt="no unit was said"),)))
    assert judged.readings[0].band is not None
    with pytest.raises(CorrectionError, match="unit"):
        correct(judged, Correction("accept", WHO, index=0))
    given_unit = changed(0, made=judged, unit="thou").record
    assert given_unit.readings[0].verdict == "high"
    assert not given_unit.unsure


def test_accepting_settles_the_question_and_changes_no_value() -> None:
    bare = record(Notes((replace(NOTES.readings[0], doubt="was it 12 or 20"),)))
    assert bare.readings[0].verdict == "unsure" and bare.unsure
    after = correct(bare, Correction("accept", WHO, index=0)).record
    assert after.readings[0].verdict == "high"
    assert after.readings[0].value == "12"
    assert not after.unsure
    assert is_looked_at(after.readings[0]) and not is_looked_at(bare.readings[0])


def test_setting_aside_keeps_the_words_and_takes_the_flag_away() -> None:
    made = correct(FULL, Correction("set_aside", WHO, index=2, why="quoted_spec"))
    assert len(made.record.readings) == len(FULL.readings) - 1
    heard = FULL.readings[2].heard
    assert any(one.heard == heard and one.why == "quoted_spec" for one in made.record.set_aside)
    assert not any(flag.about == "head bolt: torque" for flag in made.record.flags)


def test_what_was_not_sure_becomes_a_reading() -> None:
    typed = {"value": "8", "unit": "mm", "quantity": "gap", "component": "plug"}
    asked = FULL.unsure[0]
    made = correct(FULL, Correction("read", WHO, "unsure", 0, typed)).record
    new = next(one for one in made.readings if one.reason.startswith("Entered by"))
    assert (new.value, new.unit, new.component) == ("8", "mm", "plug")
    assert (new.words, new.heard) == (asked.words, asked.heard)


def test_questions_can_be_dismissed_and_lists_struck() -> None:
    assert not correct(FULL, Correction("dismiss", WHO, "unsure", 0)).record.unsure
    for group in ("actions", "parts", "findings", "follow_ups"):
        made = correct(FULL, Correction("strike", WHO, group, 0))
        assert len(getattr(made.record, group)) == len(getattr(FULL, group)) - 1
        assert getattr(FULL, group)[0].heard in made.what
    assert correct(FULL, Correction("strike", WHO, "meter")).record.meter is None


def test_the_meter_can_be_corrected() -> None:
    made = correct(FULL, Correction("correct", WHO, "meter", 0, {"value": "421"})).record
    assert (made.meter.value, made.meter.unit, made.meter.heard) == ("421", "h", "meter 412 hours")


BAD = {
    "comma": {"value": "0,25"},
    "words": {"value": "twelve"},
    "exponent": {"value": "1e9"},
    "not a number": {"value": "nan"},
    "long": {"value": "1" * 40},
    "unit": {"unit": "furlong"},
    "unit of another kind": {"unit": "psi"},
    "quantity": {"quantity": "luck"},
    "role": {"role": "guessed"},
    "long name": {"component": "x" * 200},
    "control signs": {"component": "a\x00b"},
    "field": {"verdict": "in_band"},
    "nothing": {},
}


@pytest.mark.parametrize("changes", BAD.values(), ids=BAD)
def test_corrections_without_sense_are_refused_with_a_reason(changes) -> None:
    with pytest.raises(CorrectionError, match=r"\w"):
        correct(FULL, Correction("correct", WHO, index=0, changes=changes))


@pytest.mark.parametrize(
    "correction",
    [
        Correction("accept", " "),
        Correction("accept", WHO, index=99),
        Correction("accept", WHO, index=-1),
        Correction("accept", WHO, group="words"),
        Correction("explode", WHO),
        Correction("set_aside", WHO, why="because"),
        Correction("read", WHO, group="unsure"),
    ],
)
def test_what_is_not_there_cannot_be_corrected(correction) -> None:
    with pytest.raises(CorrectionError, match=r"\w"):
        correct(FULL, correction)


def test_values_are_kept_as_typed() -> None:
    assert changed(0, value=" .50 ", unit="mm").record.readings[0].value == "0.50"


CHANGES = st.fixed_dictionaries(
    {},
    optional={
        "value": st.decimals("-999", "9999", places=2).map(str),
        "unit": st.sampled_from(["", *load_units()]),
        "component": st.text(max_size=90),
        "position": st.sampled_from(["", "front left", "<b>2</b>"]),
        "quantity": st.sampled_from(["clearance", "torque", "pressure"]),
        "role": st.sampled_from(ROLES),
    },
)
CORRECTIONS = st.builds(
    Correction,
    kind=st.sampled_from(list(KINDS)),
    who=st.just(WHO),
    group=st.sampled_from(["readings", "unsure", "set_aside", "actions", "meter"]),
    index=st.integers(0, 3),
    changes=CHANGES,
    why=st.sampled_from([*WHYS, ""]),
)


@settings(max_examples=40, deadline=None)
@given(st.lists(CORRECTIONS, min_size=1, max_size=5), st.sampled_from([None, SHEET]))
def test_whatever_is_done_the_record_stays_valid_and_the_words_stay(corrections, sheet) -> None:
    made = FULL
    for correction in corrections:
        try:
            made = correct(made, correction, sheet=sheet).record
        except CorrectionError:
            continue
        Draft202012Validator(SCHEMA).validate(json.loads(to_json(made)))
        assert load_record(to_json(made)) == made
        assert (made.words, made.source, made.id) == (FULL.words, FULL.source, FULL.id)
        flagged = {flag.about for flag in made.flags}
        for one in made.readings:
            out = one.verdict in ("low", "high", "unit_mismatch", "unsure")
            assert not out or any(about.endswith(f": {one.quantity}") for about in flagged)
            if one.unit and one.si:
                assert Decimal(one.si.value) == convert(Decimal(one.value), one.unit, one.si.unit)


@settings(max_examples=25, deadline=None)
@given(st.decimals("0.01", "0.99", places=2))
def test_the_verdict_is_that_of_a_note_with_that_value(value) -> None:
    """A corrected value is judged as if it had been said."""
    said = record(Notes((reading("clearance", "inlet valve", str(value), "mm", "set", (8, 12)),)))
    after = changed(1, value=str(value), unit="mm").record
    assert after.readings[1].verdict == said.readings[0].verdict
