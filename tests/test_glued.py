"""Numbers that may be two: what is asked about, and what stays as it is."""

import pytest

from talklog.glued import with_glued
from talklog.mentions import find_mentions
from talklog.roles import assign_roles
from tests.test_passages import spoken

# Words, "|" for a pause -> (value, its alternative) of each number that gets a doubt here.
ROWS = (
    ("cells | two point one | two point oh | one nine | two point two volts", {("2.019", None)}),
    ("cell two point oh one nine volts", set()),
    ("nut went on at fifty newton metres | right one forty five now", {("145", "45")}),
    ("pressure one thirty five psi", set()),
    ("pressure left one thirty two psi | right one eighteen psi", set()),
    (
        "contribution | one is a hundred percent | two ninety six | three a hundred | four eighty",
        {("296", "96"), ("480", "80")},
    ),
    ("contribution | two ninety six | and a hundred", set()),
    ("sump took two litres two | filter changed", {("2", "2.2")}),
    ("swivel head stands at two degrees forty", {("2", "2.666667"), ("40", None)}),
    ("bore | two inches oh four | same all round", {("2", "2.04")}),
    ("swivel head stands at two degrees ninety", {("2", None), ("90", None)}),
    ("rebate width | three millimetres four | next", {("3", "3.4"), ("4", None)}),
    ("sump took two litres | two filters", set()),
    ("held at twenty two psi nine minutes", set()),
    ("battery twelve point six volts two years old", set()),
    ("battery 12.6 v 2 on the shelf", set()),
    ("solenoid | one more try | gave three twenty nine ohms", set()),
)


@pytest.mark.parametrize(("said", "wanted"), ROWS)
def test_numbers_that_may_be_two(said: str, wanted: set) -> None:
    note = spoken(said)
    mentions = find_mentions(note)
    roled = assign_roles(note, mentions)
    found = with_glued(note, mentions, roled)
    asked = {
        (item.number.said, item.others[0].said if item.others else None)
        for item, before in zip(found, roled, strict=True)
        if item.doubt and not before.doubt
    }
    assert asked == wanted
