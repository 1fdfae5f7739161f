"""The learned choices: which thing a number belongs to, and what it measures."""

import json
import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.extractor.choices import MAKERS, right_share, train
from models.extractor.passages import load_split
from talklog import chooser, sequels
from talklog.assemble import understand
from talklog.errors import DataFileError
from tests.test_understanding import spoken

# Share of readings of the development notes (nobody trained on them) whose right component and
# quantity is chosen, where it is among the candidates; slightly under what was reached.
FLOORS = {"component": 0.75, "quantity": 0.80}


@pytest.mark.parametrize("choice", MAKERS)
def test_the_shipped_weights_choose_right_on_notes_not_trained_on(choice: str) -> None:
    examples = [example for example in MAKERS[choice](load_split("dev")) if example[1]]
    right, _, count = right_share(dict(chooser._weights()[choice]), examples)
    assert right / count >= FLOORS[choice]


def test_training_finds_the_feature_that_decides() -> None:
    rng = random.Random(5)
    examples = []
    for _ in range(200):
        right = rng.randrange(3)
        found = [["noise " + str(rng.randrange(9)), "near" if at == right else "far"]
                 for at in range(3)]  # fmt: skip
        examples.append((found, [right]))
    weights = train(examples, penalty=1.0)
    assert weights["near"] - weights["far"] > 2
    assert right_share(weights, examples) == (200, 200, 200)


@given(st.lists(st.lists(st.sampled_from(["fits", "before", "same", "zz"])), min_size=1))
def test_chances_add_up_to_one(candidates: list[list[str]]) -> None:
    shares = chooser.chances("component", candidates)
    assert math.isclose(sum(shares), 1.0)
    assert all(0 <= share <= 1 for share in shares)


def test_labels_are_weighed_like_candidates() -> None:
    shared, labels = ["in psi", "of tyre"], {"pressure": ["said"], "load": []}
    spread = [[f"{name} {feature}" for feature in shared] + own for name, own in labels.items()]
    assert chooser.label_chances("quantity", shared, labels) == pytest.approx(
        chooser.chances("quantity", spread)
    )


@pytest.mark.parametrize("text", ["", "[]", "{", '{"component": {}}'])
def test_a_broken_file_of_weights_is_named(tmp_path, monkeypatch, text: str) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / chooser.FILE).write_text(text)
    monkeypatch.setattr(chooser, "files", lambda name: tmp_path)
    chooser.forget()
    try:
        with pytest.raises(DataFileError, match=r"choices\.json"):
            chooser.chances("component", [["fits"]])
    finally:
        monkeypatch.undo()
        chooser.forget()


def test_weights_by_hand_are_of_known_choices_and_stay_few() -> None:
    tables = json.loads((chooser.files("talklog") / "data" / chooser.FILE).read_text("utf-8"))
    by_hand = tables.pop(chooser.BY_HAND)
    assert set(by_hand) <= set(MAKERS)
    assert set(tables) == {*MAKERS, sequels.CHOICE}
    assert sum(map(len, by_hand.values())) < 20


# Common practice, no source: whose value it is when several things were named.
OWNERS = {
    "the rotor measures one point five millimetres on the caliper side": "brake disc",
    "both front tyres at two bar and the spare at three bar": "spare",
    "two hundred mils of oil in the bevel box": "oil",
}


@pytest.mark.parametrize("sentence", OWNERS)
def test_a_value_belongs_to_the_thing_it_was_said_of(sentence: str) -> None:
    reading = understand(spoken(sentence)).readings[-1]
    assert reading.component == OWNERS[sentence]
