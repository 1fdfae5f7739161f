"""Step 5e: which fields of a reading were not said plainly. Knows no bands.

The thing, the place, what is measured and the role are often the most probable of several. Value
and unit are asked about where they are not sure (see ``sureness``); these are only marked, so that
who reads the record sees where to look.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from talklog.context import Context
from talklog.notes import NOT_SAID, Reading
from talklog.roled import MEASURING, RoledNumber
from talklog.seeing.kinds import NumberSeen
from talklog.vocabulary import load

# Below these probabilities about half are wrong: see models/extractor/README.md.
THING, PLACE, QUANTITY, ROLE = 0.6, 0.4, 0.45, 0.5
ANOTHER = 0.2  # P(thing) from which one that was named may be meant though none was taken


def with_presumed(context: Context, item: RoledNumber, reading: Reading) -> Reading:
    """The reading with the names of its uncertain fields. ``item`` is the number that it is of.

    "pads and shoes nearside three mil" -> whether pads or shoes is presumed.
    """
    read = context.read_of.get(item.first)
    if read is None:
        return reading
    doubted = {
        "quantity": _of_quantity(read, reading) < QUANTITY,
        "component": _of_thing(context, item, read, reading) < THING,
        "position": read.place_chance < PLACE and not _is_plain(context, item, reading),
        "role": _of_role(item.chances, reading) < ROLE,
    }
    return replace(reading, presumed=tuple(name for name, doubt in doubted.items() if doubt))


def _is_plain(context: Context, item: RoledNumber, reading: Reading) -> bool:
    """Whether the place is what was said right beside the thing, or nothing was said there and none
    was taken: "front right brake pad". The second was right in two thirds of such cases."""
    named = [c for c in context.components if c.name == reading.component and c.last < item.first]
    return bool(named) and reading.position in (context.position_at(c) for c in named[-1:])


def _of_quantity(read: NumberSeen, reading: Reading) -> float:
    """Of what the trained reader has no name for it says nothing."""
    measures = sum(read.roles[role] for role in MEASURING)
    own = read.quantities.get(reading.quantity)
    return 1.0 if own is None or not measures else own / measures


def _of_thing(context: Context, item: RoledNumber, read: NumberSeen, reading: Reading) -> float:
    """All mentions of a thing count together. What the quantity implies is not presumed, nor that
    no thing was said where there is hardly another."""
    thing, _ = context.component_of(item.first)
    others = [chance for own, chance in read.owners.items() if own is not None]
    implied = load().implied.get(reading.quantity, NOT_SAID)
    if thing is None and (reading.component != implied or max(others, default=0.0) < ANOTHER):
        return 1.0
    if thing is not None and reading.component != thing.name:
        return 1.0
    name = thing.name if thing else None
    return sum(chance for own, chance in read.owners.items() if (own and own.name) == name)


def _of_role(chances: Mapping[str, float], reading: Reading) -> float:
    total = sum(chances.values())
    return chances.get(reading.role, 0.0) / total if total else 1.0
