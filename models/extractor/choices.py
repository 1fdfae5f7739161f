"""Trains the learned choices of talklog (see ``talklog.chooser``) on the hand-written notes.

    python -m models.extractor.choices            train on train, say how right it is on dev
    python -m models.extractor.choices --write    the same, and write talklog/data/choices.json

The weights maximise the probability of the annotated candidate less half the sum of their squares
times ``--penalty``. Weights under "by hand" are kept as they are.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import pairwise, product
from math import log
from pathlib import Path

import click
import numpy as np
from scipy.optimize import minimize
from scipy.sparse import csr_matrix

from models.extractor.passages import Item, Passage, load_split
from models.extractor.scoring import same_component, transcript_of
from talklog import chooser, links, quantity, sequels
from talklog.context import Context
from talklog.mentions import Mention, find_mentions
from talklog.notes import NOT_SAID, Reading
from talklog.quantity import Setting, candidates
from talklog.readings import setting_of
from talklog.roled import MEASURING, RoledNumber
from talklog.roles import assign_roles

DATA = Path(chooser.__file__).parent / "data" / chooser.FILE
UNSEEN = 0.5  # added to the count of each pair of roles
SMALLEST = 0.15  # weights nearer to nothing are left out
Example = tuple[list[list[str]], list[int]]  # candidates' features, and which of them are right


def component_examples(passages: Sequence[Passage]) -> Iterator[Example]:
    """One example for each annotated reading whose number was found, in the order of the words."""
    for passage in passages:
        transcript = transcript_of(passage.words, passage.pauses)
        mentions = find_mentions(transcript)
        roled = assign_roles(transcript, mentions)
        things = mentions.of("component")
        surroundings = links.Surroundings(transcript, mentions, things, roled)
        previous: Mention | None = None
        for number, item in annotated(roled, passage.lists["readings"]):
            candidates = surroundings.candidates(number, previous)
            right = [at for at, (thing, _) in enumerate(candidates) if _is(passage, thing, item)]
            right.sort(key=lambda at: _distance(candidates[at][0], number))
            yield [features for _, features in candidates], right
            if right:
                previous = candidates[right[0]][0] or previous


def quantity_examples(passages: Sequence[Passage]) -> Iterator[Example]:
    """The same for what a number measures; components are those that talklog chose."""
    for passage in passages:
        transcript = transcript_of(passage.words, passage.pauses)
        mentions = find_mentions(transcript)
        context = Context(transcript, mentions, assign_roles(transcript, mentions))
        last: Reading | None = None
        for number, item in annotated(context.roled, passage.lists["readings"]):
            setting = setting_of(context, number, last)
            found = candidates(setting)
            right = [at for at, (name, _) in enumerate(found) if name == item["quantity"]]
            yield [features for _, features in found], right
            last = _reading(setting, item)


def _reading(setting: Setting, item: Item) -> Reading:
    """As much of a reading as the features of the next number look at."""
    number, component = setting.item.number, setting.component
    return Reading(
        quantity=item["quantity"], component=component.name if component else NOT_SAID,
        position=None, condition=None, value=number.value, said=number.said, unit=item["unit"],
        role=item["role"], first=setting.item.first, last=setting.item.last, reason="",
    )  # fmt: skip


def annotated(
    roled: Sequence[RoledNumber], items: Sequence[Item]
) -> Iterator[tuple[RoledNumber, Item]]:
    """The numbers that an annotator took for readings."""
    used: set[int] = set()
    for number in roled:
        for item in items:
            shares = item.first <= number.number.last and number.first <= item.last
            same = number.number.value == Decimal(item["value"])
            if shares and same and id(item) not in used:
                used.add(id(item))
                yield number, item
                break


def _is(passage: Passage, thing: Mention | None, item: Item) -> bool:
    if thing is None:
        return item["component"] == NOT_SAID
    said = " ".join(passage.words[thing.first : thing.last + 1]).removesuffix("'s")
    return same_component(thing.name, item["component"]) or same_component(said, item["component"])


def _distance(thing: Mention | None, number: RoledNumber) -> int:
    return abs(thing.first - number.first) if thing else 0


def train(examples: Sequence[Example], *, penalty: float) -> dict[str, float]:
    """Feature -> weight. Examples without a right candidate teach nothing."""
    known = [(candidates, right[0]) for candidates, right in examples if right]
    names: dict[str, int] = {}
    rows, columns, starts, gold = [], [], [], []
    count = 0
    for features_of, right in known:
        starts.append(count)
        gold.append(count + right)
        for features in features_of:
            columns += [names.setdefault(feature, len(names)) for feature in features]
            rows += [count] * len(features)
            count += 1
    table = csr_matrix((np.ones(len(rows)), (rows, columns)), shape=(count, len(names)))
    first = np.array(starts)
    group = np.repeat(np.arange(len(known)), np.diff([*starts, count]))

    def loss(weights: np.ndarray) -> tuple[float, np.ndarray]:
        scores = table @ weights
        top = np.maximum.reduceat(scores, first)
        shares = np.exp(scores - top[group])
        total = np.add.reduceat(shares, first)
        slope = shares / total[group]
        slope[gold] -= 1
        likelihood = np.sum(scores[gold] - top - np.log(total))
        return penalty / 2 * weights @ weights - likelihood, table.T @ slope + penalty * weights

    found = minimize(loss, np.zeros(len(names)), jac=True, method="L-BFGS-B").x
    return {name: float(found[at]) for name, at in names.items()}


def right_share(weights: dict[str, float], examples: Sequence[Example]) -> tuple[int, int, int]:
    """(right, with a right candidate, all) of examples."""
    chosen = [
        max(range(len(c)), key=lambda at, c=c: sum(weights.get(f, 0.0) for f in c[at]))
        for c, _ in examples
    ]
    right = sum(at in right for at, (_, right) in zip(chosen, examples, strict=True))
    return right, sum(bool(right) for _, right in examples), len(examples)


def sequel_weights(passages: Sequence[Passage]) -> dict[str, float]:
    """ "one other" -> the log of how much oftener the second role follows the first among the
    annotated readings of one thing than it stands there at all."""
    pairs: Counter[tuple[str, str]] = Counter()
    alone: Counter[str] = Counter()
    for passage in passages:
        for line in _roles_of_things(passage):
            pairs.update(pairwise((sequels.BEGIN, *line, sequels.END)))
            alone.update(line)
    count = sum(alone.values())
    weights = {}
    for one, other in product((sequels.BEGIN, *MEASURING), (*MEASURING, sequels.END)):
        row = sum(times for (first, _), times in pairs.items() if first == one)
        usual = alone[other] / count if other in alone else 1.0
        weights[f"{one} {other}"] = log((pairs[one, other] + UNSEEN) / row / usual)
    return weights


def _roles_of_things(passage: Passage) -> Iterator[list[str]]:
    lines: dict[tuple[str, ...], list[str]] = {}
    for item in passage.lists["readings"]:
        thing = (item["quantity"], item["component"], item["position"])
        lines.setdefault(thing, []).append(item["role"])
    return iter(lines.values())


# In this order: what a number measures is learned with the components that were chosen before.
MAKERS = {links.CHOICE: component_examples, quantity.CHOICE: quantity_examples}


@click.command()
@click.option("--penalty", default=4.0, show_default=True, help="Of large weights.")
@click.option("--write", is_flag=True, help="Write the weights into the program.")
def main(penalty: float, write: bool) -> None:
    """Train the choices on train, and say how right they are on train and dev; of every other note
    with its pauses."""
    passages = {
        split: (*load_split(split)[::2], *load_split(split, paused=True)[1::2])
        for split in ("train", "dev")
    }
    for choice, make in MAKERS.items():
        examples = {split: list(make(notes)) for split, notes in passages.items()}
        weights = train(examples["train"], penalty=penalty)
        for split, cases in examples.items():
            right, there, all_ = right_share(weights, cases)
            click.echo(f"{choice}, {split}: {right} right; one was there for {there} of {all_}")
        if write:
            _write(choice, weights)
            chooser.forget()
    if write:
        _write(sequels.CHOICE, sequel_weights(passages["train"]))


def _write(choice: str, weights: dict[str, float]) -> None:
    tables = json.loads(DATA.read_text("utf-8"))
    few = 0.0 if choice == sequels.CHOICE else SMALLEST
    kept = {name: round(weight, 2) for name, weight in weights.items() if abs(weight) >= few}
    tables[choice] = dict(sorted(kept.items()))
    DATA.write_text(json.dumps(dict(sorted(tables.items())), indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
