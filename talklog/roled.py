"""What a number of a note is: the type that step 4 hands on. Knows no bands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from talklog.mentions import Mention
from talklog.numbers import Number

MEASURING = ("measured", "set", "as_found", "as_left")
ARTICLE = "article"
FILLERS = ("um", "er", "uh", "erm", "like", "about")


@dataclass(frozen=True, slots=True)
class RoledNumber:
    """A number with its unit mention (``None`` if none was said) and its role.

    ``role`` is one of MEASURING, a why of SetAside, "position", "meter", "follow_up" or "unknown".
    "inside" is a number of a size or date whose first number has the role, ARTICLE the one of "a
    mil", which is no number unless the trained reader takes it for a value.
    ``sure`` is whether a cue gave it. ``doubt`` says what is not certain; ``others`` are other
    numbers the same words may be. ``carried`` is true when the unit was said of another number,
    ``lent`` when only the trained reader says so.
    """

    number: Number
    unit: Mention | None
    role: str
    because: str
    doubt: str | None = None
    others: tuple[Number, ...] = ()
    sure: bool = False
    carried: bool = False
    lent: bool = False
    weak: bool = False  # its cue is but a hint: the trained reader decides
    whole: tuple[int, int] | None = None  # the words of the size or date that it is part of
    chances: Mapping[str, float] = field(
        default_factory=dict
    )  # of the roles MEASURING, of a reading

    @property
    def first(self) -> int:
        return self.number.first

    @property
    def last(self) -> int:
        return max(self.unit.last, self.number.last) if self.unit else self.number.last
