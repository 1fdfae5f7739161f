"""Step 5c: how probable it is that value and unit of a reading are right. Knows no bands.

A logistic model of what the trained reader says of the number, where its unit comes from and what
stands around it. A reading that is not sure enough gets a doubt; one that is very sure loses the
two doubts that a rule had for want of anything better. Weights and thresholds stand in
``data/sureness.json``, made by ``models.extractor.sureness`` from notes that the reader has not
learned from.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files

from talklog.context import Context
from talklog.errors import DataFileError
from talklog.notearrays import QUANTITIES
from talklog.notes import Reading
from talklog.places import LARGEST_PLACE
from talklog.quantity import unit_chances
from talklog.role_rules.doubts import GIVEN_UP, OF_ANOTHER, PERHAPS_NONE
from talklog.role_rules.without_cue import ATTRIBUTIVE
from talklog.roled import MEASURING, RoledNumber
from talklog.seeing.kinds import NumberSeen
from talklog.vocabulary import load

FAR = 9  # words: a unit that was said farther off is less sure
LEAST = 0.003  # added to both sides of a probability, so that none is certain
ARTICLES = ("a", "an", "the", "this", "that", "of")
UNCLEAR = "it is not certain what it measures"
FEATURES = (
    "constant",
    "reading",  # log odds of its being a reading, by the reader
    "quantity",  # the same of what it measures
    "cue",  # a cue gave its role
    "carried",  # its unit was said of another value
    "lent",  # only the reader says so
    "unit",  # log odds of that unit, by the reader, if it was said of another value
    "carried_on",  # no unit was said, and it goes on in that of the value before
    "same_thing",  # as the value that the unit comes from
    "same_quantity",
    "far",  # from that value
    "of_two",  # its unit word can be two units
    "of_more",
    "meant",  # log odds of the unit among those, by what the reader takes it to measure
    "part",  # no whole number: mostly something that was measured
    "small",  # a whole number that could count something or name a place
    "before_thing",  # "the eight inch grinder"
    "behind_article",
)


@dataclass(frozen=True, slots=True)
class Sureness:
    """A logistic model. A reading that is right with less than ``ask`` is asked about; the doubt of
    a rule goes from ``trust`` on."""

    ask: float
    trust: float
    weights: Mapping[str, float]

    def of(self, features: Mapping[str, float]) -> float:
        """The probability that value and unit are right."""
        total = sum(self.weights[name] * value for name, value in features.items())
        return 1 / (1 + math.exp(-total))


def judged(
    context: Context, item: RoledNumber, reading: Reading, earlier: Sequence[Reading]
) -> Reading:
    """The reading, asked about if it is not sure enough. "the eight inch grinder" -> asked."""
    if context.read_of.get(item.first) is None or reading.doubt not in (None, *GIVEN_UP):
        return reading
    sure = model().of(features(context, item, reading, earlier))
    if reading.doubt is None and sure < model().ask:
        return replace(reading, doubt=_why(context, item, reading))
    return replace(reading, doubt=None) if sure >= model().trust else reading


def _why(context: Context, item: RoledNumber, reading: Reading) -> str:
    if item.carried or item.unit is None:
        return OF_ANOTHER
    read = context.read_of[item.first]
    measured = read.quantities.get(reading.quantity, 0.0)
    return UNCLEAR if measured < sum(read.roles[role] for role in MEASURING) else PERHAPS_NONE


def features(
    context: Context, item: RoledNumber, reading: Reading, earlier: Sequence[Reading]
) -> dict[str, float]:
    """What the model looks at, by the names of FEATURES and in their order."""
    read = context.read_of[item.first]
    return {
        "constant": 1.0,
        "reading": _log_odds(sum(read.roles[role] for role in MEASURING)),
        "quantity": _log_odds(_chance_of_quantity(read, reading.quantity)),
        "cue": float(item.sure),
        **_source_of_unit(read, item, reading, earlier),
        **_meant_by_unit(context, item, reading),
        **_form_of_value(context, item),
    }


def _source_of_unit(
    read: NumberSeen, item: RoledNumber, reading: Reading, earlier: Sequence[Reading]
) -> dict[str, float]:
    """Whether the unit was said of the number itself, or where it comes from."""
    lender = next((r for r in reversed(earlier) if reading.unit and r.unit == reading.unit), None)
    owed = lender is not None and (item.carried or item.unit is None)
    return {
        "carried": float(item.carried),
        "lent": float(item.lent),
        "unit": _log_odds(_chance_of_unit(read, item)) if item.carried else 0.0,
        "carried_on": float(item.unit is None),
        "same_thing": float(owed and lender.component == reading.component),
        "same_quantity": float(owed and lender.quantity == reading.quantity),
        "far": float(owed and reading.first - lender.last > FAR),
    }


def _meant_by_unit(context: Context, item: RoledNumber, reading: Reading) -> dict[str, float]:
    """How many units its word can be, and how probable the one that was taken is among them; all
    that it hardly ever is count as one."""
    units = item.unit.units if item.unit else ()
    meant = unit_chances(context, item.first, units)
    rare = [unit for unit in units if unit.name in load().rare_units]
    many = len(units) - max(0, len(rare) - 1)
    return {
        "of_two": float(many == 2),
        "of_more": float(many > 2),
        "meant": _log_odds(meant.get(reading.unit, 0.5)) if len(units) > 1 else 0.0,
    }


def _form_of_value(context: Context, item: RoledNumber) -> dict[str, float]:
    """Whether it looks like a measurement, and what stands beside it."""
    value, words = item.number.value, context.transcript.words
    whole = value == value.to_integral_value()
    behind = words[item.first - 1].text if item.first else ""
    return {
        "part": float(not whole),
        "small": float(whole and abs(value) <= LARGEST_PLACE),
        "before_thing": float(_is_before_thing(context, item)),
        "behind_article": float(behind in ARTICLES),
    }


def _chance_of_quantity(read: NumberSeen, name: str) -> float:
    """Of what the reader has no name for ("decibels") it says nothing: even odds."""
    return read.quantities.get(name, 0.0) if name in QUANTITIES else 0.5


def _chance_of_unit(read: NumberSeen, item: RoledNumber) -> float:
    return sum(
        chance for unit, chance in read.units.items() if unit and unit.name == item.unit.name
    )


def _is_before_thing(context: Context, item: RoledNumber) -> bool:
    """Whether a thing follows a unit in the singular, without a pause."""
    words, after = context.transcript.words, item.last + 1
    if item.unit is None or item.carried or after >= len(words):
        return False
    joined = not words[after].pause_before and words[item.last].text in ATTRIBUTIVE
    return joined and any(thing.first == after for thing in context.components)


def _log_odds(chance: float) -> float:
    return math.log((chance + LEAST) / (1 - chance + LEAST))


# ---- weights -------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def model() -> Sureness:
    """The weights that come with talklog."""
    return parse_model((files("talklog") / "data" / "sureness.json").read_text("utf-8"))


def parse_model(text: str) -> Sureness:
    """Raises DataFileError when a key is missing or unknown, or a value is no number."""
    try:
        data = json.loads(text)
        weights = {name: float(value) for name, value in data.pop("weights").items()}
        ask, trust = float(data.pop("ask")), float(data.pop("trust"))
        if wrong := set(weights) ^ set(FEATURES) | set(data):
            raise ValueError(f"{', '.join(sorted(wrong))} is missing or unknown")
        if not all(map(math.isfinite, (ask, trust, *weights.values()))):
            raise ValueError("a value is no finite number")  # nothing would be asked about
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise DataFileError(
            f"sureness.json: is broken ({error}); make it again with models.extractor.sureness"
        ) from None
    return Sureness(ask, trust, weights)
