"""Step 3a: a thing as it was said -> its name in the record.

A short word of many trades ("pad", "blade", "head") takes the long name of one of them only where
other words of the note show that trade; else it stays as it was said, for a part of another trade
under a wrong name would stand in the record and nobody would ask.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

from talklog.nouns import singular
from talklog.vocabulary import load
from talklog.word_kinds import Phrase

LONGEST = 3  # words of a phrase that shows a trade: "h t lead"


def phrases_of(words: Sequence[str]) -> frozenset[Phrase]:
    """All words of a note and all that stand side by side, in the singular."""
    plain = [singular(word) for word in words]
    return frozenset(
        tuple(plain[at : at + length])
        for length in range(1, LONGEST + 1)
        for at in range(len(plain) - length + 1)
    )


def recorded_name(said: Sequence[str], name: str, note: frozenset[Phrase]) -> str:
    """The name in the record of a thing of the vocabulary that was named by the words ``said`` in
    a note of these phrases: a "pad" is a "brake pad" beside a caliper."""
    form = (*said[:-1], singular(said[-1]))
    if form in load().as_said:
        return " ".join(form)
    trade = load().trades.get(form)
    if trade is None:
        return name
    shown = trade.shown_by & note - {form} and not trade.not_with & note
    return name if shown else " ".join(form)


def dictionary_name(name: str) -> str:
    """What the vocabulary names a thing that a record may keep as it was said: "brake pad" for
    "pad", "radiator hose" for "top hose"; the name itself of any other."""
    return _dictionary_names().get(name, name)


@lru_cache(maxsize=1)
def _dictionary_names() -> Mapping[str, str]:
    words = load()
    owners = {form: name for name, forms in words.components.items() for form in forms}
    return {" ".join(form): owners[form] for form in (*words.as_said, *words.trades)}
