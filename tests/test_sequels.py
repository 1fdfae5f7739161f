"""Roles of several values of one thing, decided together, on readings built by hand."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from talklog.notes import Reading
from talklog.roled import MEASURING
from talklog.sequels import settle_sequels

PLAY = Reading(
    quantity="play", component="hub", position="left", condition=None, value=Decimal(8), said="8",
    unit="thou", role="measured", first=0, last=1, reason="",
)  # fmt: skip
UNSURE = {"measured": 0.5, "as_found": 0.3, "set": 0.1, "as_left": 0.1}
LEFT = {"measured": 0.05, "as_found": 0.01, "set": 0.04, "as_left": 0.9}


def roles(*said: tuple[Reading, dict[str, float]]) -> list[str]:
    return [r.role for r in settle_sequels([r for r, _ in said], [own for _, own in said])]


# What follows the first value of the left hub's play -> what it was.
FIRSTS = {
    "nothing": ([], "measured"),
    "the same left at another value": ([(PLAY, LEFT)], "as_found"),
    "the same without its place": ([(replace(PLAY, position=None), LEFT)], "as_found"),
    "the other hub": ([(replace(PLAY, position="right"), LEFT)], "measured"),
    "another thing": ([(replace(PLAY, component="cable"), LEFT)], "measured"),
    "another quantity": ([(replace(PLAY, quantity="runout"), LEFT)], "measured"),
}


@pytest.mark.parametrize("case", FIRSTS)
def test_what_a_first_value_was_is_told_by_the_next_of_the_same_thing(case: str) -> None:
    later, wanted = FIRSTS[case]
    assert roles((PLAY, UNSURE), *later)[0] == wanted


def test_the_reason_names_the_other_values_only_where_they_changed_the_role() -> None:
    alone = settle_sequels([PLAY], [UNSURE])
    both = settle_sequels([PLAY, replace(PLAY, role="as_left")], [UNSURE, LEFT])
    assert alone == (PLAY,)
    assert "other values" in both[0].reason
    assert both[1].reason == ""


@given(st.lists(st.sampled_from(MEASURING), max_size=5))
def test_roles_that_are_certain_stay(certain: list[str]) -> None:
    said = [(replace(PLAY, role=role), {role: 1.0}) for role in certain if role != "measured"]
    apart = [(replace(r, component=str(at)), own) for at, (r, own) in enumerate(said)]
    assert roles(*apart) == [reading.role for reading, _ in said]
