"""Step 5d: numbers that were set aside, or could not be placed, as the readings that they may be.

"drum lip bobs two mil where it did twenty": the twenty stands among what is unsure. Were it a
reading, it might be out of band; so it is made one here, for the check alone. Knows no bands.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from talklog.context import Context
from talklog.notes import Perhaps, Reading
from talklog.readings import make_reading
from talklog.roled import ARTICLE, MEASURING, RoledNumber
from talklog.trained import READ_DOUBTFULLY

UNPLACED = "unknown"
# What the speaker took back is no reading, however much it sounds like one.
NEVER = (*MEASURING, "position", "meter", "follow_up", "superseded", ARTICLE)
WHY = {UNPLACED: "a number that could not be placed"}


def perhaps(context: Context) -> Iterator[Perhaps]:
    """The numbers of a note that may be readings and are not, left to right."""
    if not any(_may_be(context, item) for item in context.roled):
        return
    tried = tuple(replace(item, role="measured") if _may_be(context, item) else item
                  for item in context.roled)  # fmt: skip
    wider = Context(context.transcript, context.mentions, tried, context.seen)
    earlier: list[Reading] = []
    for item, was in zip(tried, context.roled, strict=True):
        made = make_reading(wider, item, earlier) if item.role in MEASURING else None
        if not isinstance(made, Reading):
            continue
        earlier.append(made)
        if item is not was:
            yield Perhaps(_why(was), replace(made, doubt=None), item.first, item.last)


def _may_be(context: Context, item: RoledNumber) -> bool:
    read = context.read_of.get(item.first)
    if read is None or item.role in NEVER:
        return False
    return item.role == UNPLACED or sum(read.roles[role] for role in MEASURING) >= READ_DOUBTFULLY


def _why(item: RoledNumber) -> str:
    said = WHY.get(item.role, f"set aside as {item.role.replace('_', ' ')}")
    return f"{said} ({item.because})"
