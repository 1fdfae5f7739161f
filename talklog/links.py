"""Step 4f: which of the things named around a number it belongs to. Knows no bands.

"rotor is one point five on the caliper": the rotor, not the caliper. The things named before and
just after a number are candidates; how far they stand, what stands between, whether the unit is
usual for them and which thing the number before belonged to are their features; a learned choice
weighs them (see ``chooser``). That no thing was named is a candidate too.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from talklog.chooser import chances, together
from talklog.mentions import Mention, Mentions, near
from talklog.roled import FILLERS, MEASURING, RoledNumber
from talklog.scopes import paused
from talklog.seeing.kinds import Seen
from talklog.transcript import Transcript
from talklog.vocabulary import load

CHOICE = "component"
BEFORE_MOST, BEHIND_MOST = 6, 2  # candidates on each side
PASSAGE = 60  # words: farther back, a component is no longer what is talked of
BEHIND = 6  # words: how far behind a number its component may stand
TOPIC, TOPIC_GAP = 3, 6  # a component among the first words is what the note is about, even far on
# Of a thing with nothing or only "is", "at" between it and the number; how many words that may be.
FAVOUR, TOLD = 7.0, 3
LEAST = 0.02  # probability of a thing that the reader does not think of
NOT_MEANT = 0.05  # probability below which nothing speaks for a thing
READ_SURELY = 0.7  # from which the rules have no say in it: of 87 it was right in 58, they in 25
FAR_READ = 0.2  # from which a thing is a candidate however far it is
MAYBE = 0.02  # probability from which a number may belong to a thing
FAR_OFF = 0.03  # the same, of one talked of before a pause, where another leads to the value
MISFIT = 0.6  # what is left of the share of a thing in whose usual units the value is not
RULES = 0.4  # weight of their opinion beside the reader's, chosen on the dev notes
STEPS = (1, 2, 3, 4, 6, 9, 14, 22, 40)  # words: distances within one of these are alike
PREPOSITIONS = ("on", "in", "at", "for", "across", "of", "to", "from", "into", "under", "over")
LIGHT = ("the", "a", "an", "this", "that", "my", "his", "her", "its", "end", "side", *FILLERS)
SAYING = (
    *("is", "are", "was", "were", "reads", "reading", "at", "says", "has", "got", "to", "shows"),
    *("it's", "comes", "came", "measured", "measures", "gave", "giving"),
)


@dataclass(frozen=True, slots=True)
class Link:
    """The component of a number, ``None`` if none was named, and how probable it is; ``others``
    are those that it may be instead."""

    component: Mention | None
    chance: float
    others: tuple[tuple[Mention | None, float], ...] = ()


class Surroundings:
    """A note as the features see it."""

    def __init__(
        self,
        transcript: Transcript,
        mentions: Mentions,
        components: Sequence[Mention],
        roled: Sequence[RoledNumber],
    ) -> None:
        self.transcript, self.mentions, self.components = transcript, mentions, components
        self.values = [number for number in roled if number.role != "position"]
        self.place_numbers = {
            at
            for item in roled
            if item.role == "position"
            for at in range(item.number.first, item.number.last + 1)
        }
        self._small = frozenset(
            word
            for span in (*mentions.of("position"), *mentions.of("quantity"))
            for word in transcript.heard(span.first, span.last).split()
        )

    def candidates(
        self, item: RoledNumber, previous: Mention | None
    ) -> list[tuple[Mention | None, list[str]]]:
        """What a number may belong to, with features; the last is that nothing was named."""
        first, last = item.number.first, item.last
        close = near(self.components, first, last)
        end = bisect_left(self.components, first, key=lambda c: c.first)
        earlier = self.components[max(0, end - BEFORE_MOST) : end]
        before = [c for c in earlier if first - PASSAGE <= c.first and c.last < first]
        behind = [
            c
            for c in close
            if last < c.first <= last + BEHIND and not paused(self.transcript, last, c.first)
        ][:BEHIND_MOST]
        found: list[tuple[Mention | None, list[str]]] = []
        for rank, component in enumerate(reversed(before)):
            features = self._before(component, first, rank, previous)
            found.append((component, features + self._both("before", component, item, previous)))
        for rank, component in enumerate(behind):
            features = self._behind(component, last, rank)
            found.append((component, features + self._both("behind", component, item, previous)))
        none = ["none", f"none among {min(len(before), 2)}"]
        return [*found, (None, none if previous else [*none, "none yet"])]

    def _before(
        self, component: Mention, first: int, rank: int, previous: Mention | None
    ) -> list[str]:
        between = self._between(component.last, first)
        values = self._values_between(component.last, first)
        gap = _step(first - component.last)
        features = [
            f"before gap {gap}",
            f"before rank {min(rank, 3)}",
            f"before values {min(values, 3)}",
            f"before gap {gap} values {min(values, 1)}",
        ]
        if all(word in (*LIGHT, *SAYING) or word in self._small for word in between):
            features += ["before light", f"before light rank {min(rank, 1)}"]
            if previous is not None and previous.name != component.name:
                features.append(f"before light other rank {min(rank, 1)}")
        if not between:
            features.append("before beside")
        if paused(self.transcript, component.last, first):
            features.append("before pause")
        return features

    def _behind(self, component: Mention, last: int, rank: int) -> list[str]:
        between = self._between(last, component.first)
        following = next((v.first for v in self.values if v.first > last), None)
        features = [f"behind gap {_step(component.first - last)}", f"behind rank {rank}"]
        word = between[0] if between else "beside"
        known = (*PREPOSITIONS, "with", "off", "beside")
        features.append(f"behind {word}" if word in known else "behind another word")
        if all(w in (*LIGHT, *PREPOSITIONS) or w in self._small for w in between):
            features.append("behind light")
        if following is not None and 0 < following - component.last <= 2:
            features.append("behind has its own value")
        if following is not None and following < component.first:
            features.append("behind another value")
        return features

    def _both(
        self, side: str, component: Mention, item: RoledNumber, previous: Mention | None
    ) -> list[str]:
        words = self.transcript.words
        features = [side]
        next_word = words[component.last + 1].text if component.last + 1 < len(words) else ""
        if next_word in SAYING:
            features.append(f"{side} saying")
        if words[component.last].text.endswith("'s"):
            features.append(f"{side} is")
        if component.first < TOPIC and item.first - component.last > TOPIC_GAP:
            features.append("topic")
        if previous is not None:
            features.append("same" if previous.name == component.name else "other")
        return features + _unit_features(side, component, item)

    def favour(
        self, thing: Mention | None, others: Sequence[Mention | None], item: RoledNumber
    ) -> float:
        """How much speaks for a thing, or against it, that no probability may outweigh: "the spare
        at three"; "tyre two bar | cylinder two one fifty"; no battery has so many psi."""
        if thing is None:
            return 1.0
        if self._leads_to(thing, item):
            return FAVOUR
        told = [o for o in others if o is not None and self._leads_to(o, item)]
        if any(paused(self.transcript, thing.last, o.first) for o in told if thing.last < o.first):
            return FAR_OFF
        return MISFIT if _fit(thing, item) == "misfits" else 1.0

    def _leads_to(self, thing: Mention, item: RoledNumber) -> bool:
        """Whether only such words as "reads", or the "two" of "cylinder two", part a thing from a
        value."""
        words = self.transcript.words
        return 0 < item.first - thing.last <= TOLD and all(
            words[at].text in SAYING or at in self.place_numbers
            for at in range(thing.last + 1, item.first)
        )

    def _between(self, first: int, last: int) -> list[str]:
        return [word.text for word in self.transcript.words[first + 1 : last]]

    def _values_between(self, first: int, last: int) -> int:
        return sum(first < value.first < last for value in near(self.values, first, last))


def _unit_features(side: str, component: Mention, item: RoledNumber) -> list[str]:
    units = item.unit.units if item.unit else ()
    fit = _fit(component, item)
    return [fit, f"{side} {fit}", *(f"{unit.name} of {component.base}" for unit in units[:1])]


def _fit(component: Mention, item: RoledNumber) -> str:
    """Whether one usually measures in such a unit there."""
    units = item.unit.units if item.unit else ()
    names = {component.name, component.base}
    if names & load().liquids and any("volume" in unit.quantities for unit in units):
        return "fits liquid"
    if any((name, unit.name) in load().habits for name in names for unit in units):
        return "fits"
    return "misfits" if units and names & load().measured_of.keys() else "no habit"


def _step(words: int) -> str:
    return next((str(step) for step in STEPS if words <= step), "far")


def find_links(
    transcript: Transcript,
    mentions: Mentions,
    components: Sequence[Mention],
    roled: Sequence[RoledNumber],
    seen: Seen | None = None,
) -> dict[int, Link]:
    """The component of each measured number, by the number's first word. With ``seen`` the trained
    reader's probabilities count beside those of the learned choice."""
    surroundings = Surroundings(transcript, mentions, components, roled)
    links: dict[int, Link] = {}
    previous: Mention | None = None
    for at, item in enumerate(roled):
        if item.role in MEASURING:
            owners = seen.numbers[at].owners if seen is not None else None
            link = _link(surroundings, item, previous, owners)
            links[item.first] = link
            previous = link.component or previous
    return links


def _link(
    surroundings: Surroundings,
    item: RoledNumber,
    previous: Mention | None,
    owners: Mapping[Mention | None, float] | None,
) -> Link:
    """The component of one number. ``owners``: the reader's probability of each thing."""
    candidates = surroundings.candidates(item, previous)
    things = [thing for thing, _ in candidates]
    shares = chances(CHOICE, [features for _, features in candidates])
    if owners is not None:
        things, shares = _with_read(surroundings, item, things, shares, owners)
    best = _best(things, shares)
    others = enumerate(zip(things, shares, strict=True))
    maybe = tuple(other for at, other in others if at != best and other[1] >= MAYBE)
    return Link(things[best], shares[best], maybe)


def _with_read(
    surroundings: Surroundings,
    item: RoledNumber,
    things: Sequence[Mention | None],
    shares: Sequence[float],
    owners: Mapping[Mention | None, float],
) -> tuple[list[Mention | None], list[float]]:
    """The candidates and their shares, weighed by what the reader thinks of each; with the things
    farther off that it thinks of, which to the rules are as probable as the least probable
    candidate."""
    more = [thing for thing, chance in owners.items() if chance > FAR_READ and thing not in things]
    all_things = [*things, *more]
    read = [owners.get(thing, 0.0) for thing in all_things]
    favours = [surroundings.favour(thing, all_things, item) for thing in all_things]
    best = max(range(len(read)), key=read.__getitem__)
    if read[best] >= READ_SURELY and all_things[best] is not None and favours[best] >= 1:
        return all_things, read
    both = together([*shares, *[min(shares)] * len(more)], read, weight=RULES, least=LEAST)
    both = [share * favour if chance > NOT_MEANT else share
            for share, favour, chance in zip(both, favours, read, strict=True)]  # fmt: skip
    return all_things, [share / sum(both) for share in both]


def _best(things: Sequence[Mention | None], shares: Sequence[float]) -> int:
    """Which candidate to take: of those with the name that is most probable as a whole, for a thing
    may have been named more than once, the most probable."""
    names = [thing.name if thing else None for thing in things]
    totals = {name: sum(s for s, own in zip(shares, names, strict=True) if own == name)
              for name in names}  # fmt: skip
    name = max(totals, key=totals.__getitem__)
    return max((at for at, own in enumerate(names) if own == name), key=shares.__getitem__)
