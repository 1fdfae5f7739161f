"""Step 5a: what belongs to a number: its component, its place, its quantity. Knows no bands.

A note is read as a passage: a component, a place or a quantity goes on until another is named.
"""

from __future__ import annotations

from collections.abc import Sequence

from talklog.belonging import (
    announced_places,
    found_note,
    quantity_words,
    ruled_places,
    settled_places,
    states,
    things,
)
from talklog.mentions import Mention, Mentions
from talklog.roled import RoledNumber
from talklog.seeing.kinds import Seen
from talklog.transcript import Transcript
from talklog.word_kinds import UnitWords


class Context:
    """The note and what was found in it, with the searches that all parts of step 5 share."""

    def __init__(
        self,
        transcript: Transcript,
        mentions: Mentions,
        roled: tuple[RoledNumber, ...],
        seen: Seen | None = None,
    ) -> None:
        self.transcript, self.mentions, self.roled, self.seen = transcript, mentions, roled, seen
        self._note = found_note.found_note(transcript, mentions, roled, seen)
        self.components, self.read_of = self._note.components, self._note.read_of
        self._shared_places = ruled_places.shared_places(self._note)
        self._listed_places = announced_places.announced_places(self._note)
        self._listed_places |= ruled_places.listed_places(self._note)
        self._states = states.states_of_numbers(self._note)
        self.said_units = frozenset(
            u.units[0].name for u in mentions.of("unit") if len(u.units) == 1
        )

    def paused(self, first: int, last: int) -> bool:
        """Whether a long pause lies between two words."""
        return self._note.paused(first, last)

    def between(self, first: int, last: int) -> list[str]:
        """The words strictly between two words."""
        return self._note.between(first, last)

    def component_of(self, first: int) -> tuple[Mention | None, str]:
        """The component of the number or action that begins at ``first``, and why."""
        return things.component_of(self._note, first)

    def chance_of_component(self, first: int) -> float:
        """How probable it is that a number belongs to the component that ``component_of`` says."""
        return things.chance_of_component(self._note, first)

    def maybe_components(self, first: int) -> tuple[tuple[Mention | None, float], ...]:
        """What else a number may belong to, and how probable that is."""
        return things.maybe_components(self._note, first)

    def component_name(self, component: Mention | None, quantity: str, first: int) -> str:
        """The component; what the quantity means, or a side such as inlet, when none was named."""
        return things.component_name(self._note, component, quantity, first)

    def position_of(self, first: int, component: Mention | None) -> str | None:
        """The place of a number: "2", "front left", "inlet 1"."""
        if first in self._listed_places:
            return self._listed_places[first].name
        ruled = self._shared_places.get(first, ())
        return settled_places.place_of(self._note, ruled, component, first)

    def also_at(self, first: int, place: str | None) -> tuple[str, ...]:
        """The places of a value that was said for several: "three and four both six thou"."""
        ruled = self._shared_places.get(first, ())
        return settled_places.several_places(self._note, ruled, place, first)

    def position_at(self, component: Mention) -> str | None:
        """The place said right beside a component."""
        return ruled_places.place_beside(self._note, component)

    def state_of(self, first: int) -> str | None:
        """The state in which a value was measured: "hot", "on load"."""
        state = self._states.get(first)
        return state.name if state else None

    def quantity_word(self, first: int, last: int, units: Sequence[UnitWords]) -> Mention | None:
        """The nearest quantity word that the unit allows."""
        return quantity_words.quantity_word(self._note, first, last, units)
