"""A number -> the word said for what it measures: "runout", "play"."""

from __future__ import annotations

from collections.abc import Sequence

from talklog.belonging.found_note import FoundNote
from talklog.mentions import Mention, near
from talklog.roled import MEASURING
from talklog.word_kinds import UnitWords

SAID_FAR = 26  # words: how far back a quantity word still names what is measured
BEHIND = 3  # words: how far behind a number


def quantity_word(
    note: FoundNote, first: int, last: int, units: Sequence[UnitWords]
) -> Mention | None:
    """The nearest quantity word that the unit allows: said since the last value, else just behind
    the number ("six mil of play")."""
    allowed = {quantity for unit in units for quantity in unit.quantities}
    said = near(note.mentions.of("quantity"), first, last)
    close = [word for word in said if not allowed or word.name in allowed]
    since = _end_of_value_before(note, first, last)
    fresh = [w for w in close if 0 < first - w.last <= SAID_FAR and w.first > since]
    if fresh:
        return fresh[-1]
    behind = (w for w in close if 0 < w.first - last <= BEHIND and not note.apart(last, w.first))
    return next(behind, None)


def _end_of_value_before(note: FoundNote, first: int, last: int) -> int:
    """The last word of the value said before a number, -1 if there is none near."""
    values = (n for n in near(note.roled, first, last) if n.role in MEASURING)
    return max((value.last for value in values if value.last < first), default=-1)
