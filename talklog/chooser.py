"""A learned choice among candidates: each has features, each feature a weight, the sum decides.

A conditional log-linear model. The weights lie in ``data/choices.json`` (choice -> feature ->
weight), written by ``python -m models.extractor.choices``; those under "by hand" come after them
and are kept when the others are trained again.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from importlib.resources import files
from math import exp

from talklog.errors import DataFileError

FILE = "choices.json"
BY_HAND = "by hand"


def chances(choice: str, candidates: Sequence[Iterable[str]]) -> list[float]:
    """The probability of each candidate, given its features; they add up to 1.

    Raises DataFileError for a broken file of weights, KeyError for an unknown choice.
    """
    weights = _weights()[choice]
    return _shares([sum(weights.get(feature, 0.0) for feature in own) for own in candidates])


def pair_weights(choice: str) -> Mapping[str, float]:
    """The weights of a choice by their names, as they stand in the file."""
    return _weights()[choice]


def together(
    rules: Sequence[float], read: Sequence[float], *, weight: float, least: float
) -> list[float]:
    """The product of two opinions on the same candidates, that of the rules to the power of
    ``weight``; no opinion of the reader is under ``least``, so that it can be outweighed."""
    both = [one**weight * max(other, least) for one, other in zip(rules, read, strict=True)]
    return [share / sum(both) for share in both]


def label_chances(
    choice: str, shared: Iterable[str], labels: Mapping[str, Iterable[str]]
) -> list[float]:
    """The same where the candidates are labels: a ``shared`` feature counts for each label by a
    weight of its own, named "label feature"; ``labels`` holds further features of each.
    """
    weights, tables = _weights()[choice], _tables(choice)
    known = [tables[feature] for feature in shared if feature in tables]
    return _shares(
        [
            sum(table.get(label, 0.0) for table in known)
            + sum(weights.get(feature, 0.0) for feature in own)
            for label, own in labels.items()
        ]
    )


def _shares(scores: Sequence[float]) -> list[float]:
    top = max(scores)
    shares = [exp(score - top) for score in scores]
    return [share / sum(shares) for share in shares]


@lru_cache(maxsize=8)
def _tables(choice: str) -> dict[str, dict[str, float]]:
    """feature -> label -> weight."""
    tables: dict[str, dict[str, float]] = {}
    for name, weight in _weights()[choice].items():
        label, _, feature = name.partition(" ")
        tables.setdefault(feature, {})[label] = weight
    return tables


@lru_cache(maxsize=1)
def _weights() -> Mapping[str, Mapping[str, float]]:
    try:
        tables = json.loads((files("talklog") / "data" / FILE).read_text("utf-8"))
        hand = tables.pop(BY_HAND)
        return {choice: {**learned, **hand.get(choice, {})} for choice, learned in tables.items()}
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise DataFileError(
            f"{FILE}: is no table of weights ({error}); install talklog again"
        ) from None


def forget() -> None:
    """Read the weights again at the next choice: for training, which writes them."""
    _weights.cache_clear()
    _tables.cache_clear()
