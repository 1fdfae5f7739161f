"""Cautions by kind of work. Lines and sources stand in talklog/data/cautions.toml."""

from decimal import Decimal

import pytest

from talklog.cautions import SPEAKER, TALKLOG, find_cautions, load_cautions, parse_cautions
from talklog.errors import DataFileError
from talklog.notes import Action, Notes, Reading, SpokenCaution
from talklog.typed import read_text
from talklog.units import quantity_names

# note, the kinds of work whose line must stand in the record (all others must not)
NOTES = [
    ("bled the front brakes and fitted new pads", {"brakes"}),
    ("caliper pins greased", {"brakes"}),
    ("fuel filter changed", {"fuel and ignition"}),
    ("cleaned the carb and set the float", {"fuel and ignition"}),
    ("jacked it up at the back", {"lifting"}),
    ("engine hoist in place", {"lifting"}),
    ("isolator off in the generator panel", {"mains electricity and stored energy"}),
    ("battery reads low", {"batteries"}),
    ("hybrid battery warning", {"batteries", "high-voltage vehicle"}),
    ("air con needs refrigerant", {"refrigerant, gas and airbags"}),
    ("airbag light on", {"refrigerant, gas and airbags"}),
    ("coil springs swapped with the spring compressor", {"springs under load"}),
    ("torqued the wheel nuts", {"torque-critical joints"}),
    ("lathe chuck cleaned", {"rotating machinery"}),
    ("mower blade sharpened", {"rotating machinery"}),
    ("hydraulic hose replaced", {"pressure systems"}),
    ("radiator cap seal perished", {"hot parts"}),
    ("jacked up and the brake hose changed", {"lifting", "brakes"}),
    # words that mean something else
    ("ninety brake horsepower on the dyno", set()),
    ("measured it with the vernier caliper", set()),
    ("exhaust valve twelve thou", set()),
    ("ring compressor worked well", set()),
    ("chain oiled and saddle raised", {"lifting"}),
    ("chain cleaned and oiled", set()),
]


def works_of(text: str, notes: Notes = Notes()) -> set[str]:  # noqa: B008 - frozen
    lines = {caution.text for caution in find_cautions(read_text(text.encode()), notes)}
    return {rule.work for rule in load_cautions().rules if rule.line in lines}


@pytest.mark.parametrize(("text", "works"), NOTES)
def test_work_brings_its_line(text: str, works: set[str]) -> None:
    assert works_of(text) == works


def test_every_kind_of_work_is_in_the_table() -> None:
    assert {rule.work for rule in load_cautions().rules} == set().union(*(w for _, w in NOTES))


def reading(quantity: str, component: str = "inlet valve") -> Reading:
    return Reading(
        quantity, component, None, None, Decimal(1), "1", None, "measured", 0, 0, reason=""
    )


@pytest.mark.parametrize(
    ("quantity", "work"),
    [("torque", "torque-critical joints"), ("compression", "fuel and ignition")],
)
def test_a_reading_brings_the_line_of_its_quantity(quantity: str, work: str) -> None:
    assert works_of("one", Notes(readings=(reading(quantity),))) == {work}


def test_the_dictionary_name_of_a_component_counts_too() -> None:
    stopper = Action("fit", "brake shoe", None, True, 0, 0)
    assert works_of("stoppers", Notes(actions=(stopper,))) == {"brakes"}


def test_the_line_on_limits_stands_in_every_record() -> None:
    transcript = read_text(b"oil changed")
    (with_sheet,) = find_cautions(transcript, Notes(), sheet="van.toml")
    (without,) = find_cautions(transcript, Notes())
    assert "van.toml" in with_sheet.text
    for caution in (with_sheet, without):
        assert "maker's manual" in caution.text and "local codes come first" in caution.text
        assert caution.origin == TALKLOG


def test_what_the_speaker_warned_of_comes_first() -> None:
    said = SpokenCaution("keep clear of the fan", 0, 4)
    first = find_cautions(read_text(b"keep clear of the fan"), Notes(cautions=(said,)))[0]
    assert (first.text, first.origin) == ("keep clear of the fan", SPEAKER)


NUMBER_WORDS = {
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "half",
}


@pytest.mark.parametrize("rule", load_cautions().rules, ids=lambda rule: rule.work)
def test_no_line_brings_in_a_number(rule) -> None:
    assert not any(char.isdigit() for char in rule.line)
    assert not set(rule.line.lower().replace(",", " ").split()) & NUMBER_WORDS
    assert len(rule.line) < 170, "a line must stay a line on paper"


@pytest.mark.parametrize("rule", load_cautions().rules, ids=lambda rule: rule.work)
def test_every_rule_names_its_source_and_known_quantities(rule) -> None:
    assert len(rule.source) > 10
    assert set(rule.quantities) <= set(quantity_names())


GOOD = """
[always]
with_sheet = "limits of {sheet}"
without_sheet = "no limits"
source = "common practice, no source"
[[caution]]
work = "brakes"
line = "Brakes: careful."
source = "common practice, no source"
words = ["brake"]
"""


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("careful", "set to 30", "number"),
        ("words =", "wrods =", "wrods"),
        ('source = "common practice, no source"\nwords', "words", "source"),
        ('["brake"]', '"brake"', "list"),
        ("{sheet}", "sheet", "with_sheet"),
        ("[always]", "[never]", "never"),
        ("[always]", "[always", "TOML"),
    ],
)
def test_a_broken_file_is_refused(old: str, new: str, says: str) -> None:
    assert parse_cautions(GOOD).rules[0].words == (("brake",),)
    with pytest.raises(DataFileError, match=says):
        parse_cautions(GOOD.replace(old, new))


def test_the_same_work_twice_is_refused() -> None:
    again = GOOD[GOOD.index("[[caution]]") :]
    with pytest.raises(DataFileError, match="twice"):
        parse_cautions(GOOD + again)
