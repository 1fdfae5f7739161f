"""Step 5a: what belongs to a number: its component, its place, its quantity. Knows no bands.

A note is read as a passage: a component, a place or a quantity goes on until another is named.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import zip_longest

from talklog.links import LIGHT, PASSAGE, PREPOSITIONS, find_links
from talklog.mentions import Mention, Mentions, near
from talklog.notes import NOT_SAID
from talklog.numbers import Number, find_numbers
from talklog.roled import MEASURING, RoledNumber
from talklog.scopes import SHORT_PAUSE, paused
from talklog.seeing.kinds import Seen
from talklog.transcript import Transcript
from talklog.vocabulary import UnitWords, load

SAID_FAR = 26  # words: how far back a quantity word still names what is measured
NEAR = 14  # words: farther back, a component is carried on
AFTER = 5  # words: how far behind a number its component may stand
BESIDE_VALUE = 4  # words from a place to the number of which it is the place by rule alone
BESIDE = 4  # words between a place and its number
NUMBERED = -1  # the axis of places by number
BETWEEN = ("of", "to", "and", "from", "the", "on")  # small words within a place
LEADING = ("of", "from", "near", "by", "under", "above", "below", "behind", "between", "past")
STATE_BEFORE, STATE_BEHIND = 6, 3  # words around a number in which a state is said
FEWEST = 3  # values with their places behind them that make a list
SIDE_NEAR = 16  # words within which the other side is named: "left at ten ... right at twelve"
SMALL = ("at", "and", "the", "in", "to", "of")  # words that end no place
ARTICLES = ("the", "a", "an")
OTHERS = ("other", "this", "that", "next", "last")  # a "one" behind these is no number
SIDES = ("inlet", "exhaust")  # places that stand for a component when none was named


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
        states = mentions.of("state")
        things = seen.things if seen is not None else mentions.of("component")
        self.components = tuple(c for c in things if not _inside(c, states))
        self.places = _places(mentions, roled)
        self._links = find_links(transcript, mentions, self.components, roled, seen)
        self._place_of = self._shared_out()
        self._behind = self._listed_behind()
        self._states = dict(self._shared_states(states))
        numbers = zip(roled, seen.numbers, strict=True) if seen is not None else ()
        self.read_of = {item.first: number for item, number in numbers}
        self.said_units = frozenset(
            u.units[0].name for u in mentions.of("unit") if len(u.units) == 1
        )

    def paused(self, first: int, last: int) -> bool:
        """Whether a long pause lies between two words."""
        return paused(self.transcript, first, last)

    def between(self, first: int, last: int) -> list[str]:
        """The words strictly between two words."""
        return [word.text for word in self.transcript.words[first + 1 : last]]

    # ---- components ------------------------------------------------------------------------------

    def component_of(self, first: int) -> tuple[Mention | None, str]:
        """The component of the number or action that begins at ``first``, and why."""
        if first in self._links:
            link = self._links[first]
            if link.component is None:
                return None, "no component was named for it"
            where = "after" if link.component.first > first else "before"
            return link.component, f"named {where}, chosen with {link.chance:.0%}"
        end = bisect_left(self.components, first, key=lambda c: c.first)
        before = [c for c in self.components[max(0, end - 1) : end] if c.last < first]
        if not before or first - before[-1].last > PASSAGE:
            return None, "no component was named"
        return before[-1], "named before"

    def chance_of_component(self, first: int) -> float:
        """How probable it is that a number belongs to the component that ``component_of`` says; of
        one that was only named before, nothing is known."""
        link = self._links.get(first)
        return link.chance if link is not None and link.component is not None else 0.0

    def maybe_components(self, first: int) -> tuple[tuple[Mention | None, float], ...]:
        """What else a number may belong to, and how probable that is."""
        link = self._links.get(first)
        return link.others if link is not None else ()

    def component_name(self, component: Mention | None, quantity: str, first: int) -> str:
        """The component; what the quantity means, or a side such as inlet, when none was named."""
        if component is not None:
            return component.name
        close = [p for p in near(self.places, first, first) if 0 < first - p.last <= NEAR]
        if close and close[-1].name in SIDES:
            return close[-1].name
        return load().implied.get(quantity, NOT_SAID)

    # ---- places ----------------------------------------------------------------------------------

    def _shared_out(self) -> dict[int, tuple[Mention, ...]]:
        """Which places belong to which number (by its first word), left to right: those said since
        the last number, or, if there are none, those just behind it."""
        found: dict[int, tuple[Mention, ...]] = {}
        used = -1
        values = [n for n in self.roled if n.role != "position"]
        for index, item in enumerate(values):
            since = max(used, values[index - 1].last if index else -1)
            before = self._places_before(since, item.first)
            if not before:
                limit = values[index + 1].first if index + 1 < len(values) else item.last + AFTER
                before = self._places_after(item.number.last, limit)
                before = before or self._places_after(item.last, limit)
            if before:
                found[item.first] = before
                used = before[-1].last
        return found

    def _listed_behind(self) -> dict[int, Mention]:
        """Of the values of a list that names each place behind its value ("ten thou top twelve
        bottom nine left") the place, by the first word of the number."""
        values = [n for n in self.roled if n.role != "position"]
        starts = {place.first: place for place in self.places}
        found: dict[int, Mention] = {}
        line: list[tuple[int, Mention]] = []
        for item, after in zip_longest(values, values[1:]):
            place = next(
                (starts[at] for at in (item.last + 1, item.last + 2) if at in starts), None
            )
            if place is not None and not self._apart(item.last, place.first):
                line.append((item.first, place))
            goes_on = place is not None and after is not None and after.first == place.last + 1
            if not goes_on:
                led = bool(line) and any(p.last == line[0][0] - 1 for p in self.places)
                found |= dict(line) if len(line) >= FEWEST and not led else {}
                line = []
        return found

    def _places_before(self, since: int, first: int) -> tuple[Mention, ...]:
        close = [
            p
            for p in near(self.places, first, first)
            if since < p.first
            and p.last < first
            and (p.last == first - 1 or not self.paused(p.last, first))
        ]
        if not close or (
            first - close[-1].last > BESIDE and not self._on_component(close[-1], first)
        ):
            return ()
        return self._together(close)

    def _on_component(self, place: Mention, first: int) -> bool:
        """ "the rear tyre was down to": the place stands at the component that the number has."""
        component, _ = self.component_of(first)
        if component is None or first - place.last > NEAR:
            return False
        return 0 <= component.first - place.last <= 2 or 0 <= place.first - component.last <= 3

    def _together(self, close: Sequence[Mention]) -> tuple[Mention, ...]:
        """The last place and those said in one breath with it: "inside pad front nearside"."""
        kept = [close[-1]]
        for place in reversed(close[:-1]):
            between = self.between(place.last, kept[0].first)
            words = [w for w in between if w not in LIGHT and w not in load().numbered]
            if len(words) > 1 or (words and not self._component_between(place, kept[0])):
                break
            if place.name not in (k.name for k in kept):
                kept.insert(0, place)
        return tuple(kept)

    def _component_between(self, left: Mention, right: Mention) -> bool:
        return any(
            left.last < c.first and c.last < right.first
            for c in near(self.components, left.last, right.first)
        )

    def _places_after(self, last: int, limit: int) -> tuple[Mention, ...]:
        """ "twenty eight front", "nine at the front", "two on three and four"."""
        for place in near(self.places, last, last):
            if not last < place.first <= min(last + BESIDE, limit - 1):
                continue
            between = self.between(last, place.first)
            if place.kind == "place" and not set(between) & set(PREPOSITIONS):
                return ()  # "cylinder two" begins the next value
            if all(w in (*LIGHT, *PREPOSITIONS, *load().numbered, "mil", "out") for w in between):
                return () if self.paused(last, place.first) else (place,)
        return ()

    def position_of(self, first: int, component: Mention | None) -> str | None:
        """The place of a number: "2", "front left", "inlet 1"."""
        if first in self._behind:
            return self._behind[first].name
        read = tuple(p for p in self._read_places(first) if not self._gone(p, component, first))
        places = self._nearest_of_each_axis(read, component, first)
        inside = component is not None
        named = [
            self._with_noun(p)
            for p in places
            if not (inside and component.first <= p.first and p.last <= component.last)
        ]
        words = list(dict.fromkeys(" ".join(named).split()))
        while words and words[-1] in SMALL:
            words.pop()
        return " ".join(words) or None

    def _gone(self, place: Mention, component: Mention | None, first: int) -> bool:
        """Whether a pause parts a place from the thing, which was named after it: "front right
        fourteen psi | clutch pedal twenty five"; or from the number before it. What the reader all
        but knows stays."""
        read = self.read_of.get(first)
        if read is not None and place.first in read.sure_place:
            return False
        if place.first > first:
            return self.paused(first, place.first)
        if component is None or not place.last < component.first < first:
            return False
        return self.paused(place.last, component.first)

    def _nearest_of_each_axis(
        self, read: tuple[Mention, ...], component: Mention | None, first: int
    ) -> tuple[Mention, ...]:
        """The places that the reader takes, else those by rule. Nothing is both left and right: of
        places on one axis the last said before the number stays, with those by rule among them."""
        by_rule = self._place_of.get(first, ())
        likely = {p.first for p in (*read, *by_rule) if p in read or self._may_be(p, first)}
        ruled = tuple(p for p in by_rule if {p.first, p.last + 1} & likely)
        if not read:
            ruled = tuple(p for p in ruled if _is_close(p, component, first))
        kept: list[Mention] = []
        taken: set[int] = set()
        for place in sorted(
            {*read, *ruled}, key=lambda p: (p not in read, p.first > first, abs(first - p.first))
        ):
            axes = self._axes(place)
            if place in read or (not axes & taken and (axes or not read)):
                kept.append(place)
                taken |= axes
        return tuple(sorted(kept, key=lambda place: place.first))

    def _may_be(self, place: Mention, first: int) -> bool:
        """Whether the trained reader does not exclude that a place is that of a number; a word that
        mostly says no place must be one by the reader: "put it back four mil"."""
        read = self.read_of.get(first)
        if read is None:
            return True
        heard = self.transcript.heard(place.first, place.last)
        wanted = read.place if heard in load().doubtful_places else read.maybe_place
        return any(at in wanted for at in range(place.first, place.last + 1))

    def _may_be_whole(self, place: Mention, first: int) -> bool:
        """Whether the trained reader excludes no word of a place for a number, or thinks of the
        same word elsewhere."""
        read, words = self.read_of[first], self.transcript.words
        said = {*BETWEEN, *ARTICLES, *(words[at].text for at in read.place)}
        return place.kind == "place" or all(
            at in read.maybe_place or words[at].text in said
            for at in range(place.first, place.last + 1)
        )

    def _axes(self, place: Mention) -> set[int]:
        if place.kind == "place":
            return {NUMBERED}
        words = self.transcript.words[place.first : place.last + 1]
        table = load().axes
        return {table[word.text] for word in words if word.text in table}

    def _read_places(self, first: int) -> tuple[Mention, ...]:
        """The words that the trained reader takes for the place of a number; places that are known
        as a whole."""
        read = self._whole_place(first)
        found: list[Mention] = []
        for at in read:
            close = near(self.places, at, at)
            known = next((p for p in close if p.first <= at <= p.last), None)
            parts = known is not None and len(self._axes(known)) > 1
            if parts and not self._may_be_whole(known, first):
                known = None  # of "front left five other side six" only the front is carried on
            text = self.transcript.words[at].text
            behind = self._behind_article(at + 1)
            alone = behind not in read  # the "high" of "three thou high", not of "high side"
            unlikely = text in load().never_places and at not in self.read_of[first].sure_place
            if known is None and ((alone and unlikely) or self._is_of_another(at, read)):
                continue
            numbered = self._numbered_at(at, whole=alone and not self._is_pronoun(at, read))
            place = known or numbered or Mention("position", _plain(text), at, at)
            if place not in found:
                found.append(place)
        return tuple(found)

    def _is_of_another(self, at: int, read: tuple[int, ...]) -> bool:
        """The "bank" of "bank two", where the two is the place of another number."""
        numbered = self.transcript.words[at].text in load().numbered
        numbers = near(self.places, at, at)
        return numbered and any(
            p.kind == "place" and p.first == at + 1 for p in numbers if at + 1 not in read
        )

    def _with_noun(self, place: Mention) -> str:
        """ "bank 1", "row 2", but "2" of "cylinder two"."""
        before = self.transcript.words[place.first - 1].text if place.first else ""
        kept = place.kind == "place" and before in load().kept_before_places
        return f"{before} {place.name}" if kept else place.name

    def _is_pronoun(self, at: int, read: tuple[int, ...]) -> bool:
        """The "one" of "left one", not of "phase one"."""
        words = self.transcript.words
        one = words[at].text == "one" and at - 1 in read
        return one and (words[at - 1].text in load().axes or words[at - 1].text in OTHERS)

    def _whole_place(self, first: int) -> tuple[int, ...]:
        """The words of the place of a number by the trained reader, made whole: "top of" the
        "stroke", "left" to "right"; no article."""
        read = self.read_of.get(first)
        words = self.transcript.words
        if read is None:
            return ()
        chosen = {at for at in read.place if not (self._measures(at) or self._leaves(at))}
        for at in sorted(chosen):
            if at + 2 in chosen and words[at + 1].text in BETWEEN:
                chosen.add(at + 1)
            behind = self._behind_article(at + 1)
            if words[at].text in LEADING and behind in read.maybe_place and behind != first:
                chosen.add(behind)
        return tuple(at for at in sorted(chosen) if words[at].text not in ARTICLES)

    def _behind_article(self, at: int) -> int:
        """The word, or the one behind the article that it is."""
        words = self.transcript.words
        while at < len(words) and words[at].text in ARTICLES:
            at += 1
        return at

    def _measures(self, at: int) -> bool:
        """Whether a word belongs to what is measured: the "end" of "end float"."""
        close = near(self.mentions.of("quantity"), at, at)
        return any(q.first <= at <= q.last and q.first < q.last for q in close)

    def _leaves(self, at: int) -> bool:
        """Whether a word says how something was left, with no other side named: "found at fourteen,
        left at ten", not "left at ten, right at twelve"."""
        words, axes = self.transcript.words, load().axes
        cues = near(self.mentions.cues_of("as_left"), at, at)
        if not any(cue.first <= at <= cue.last for cue in cues):
            return False
        around = {word.text for word in words[max(0, at - SIDE_NEAR) : at + SIDE_NEAR]}
        axis = axes.get(words[at].text)
        return not any(axes.get(text) == axis for text in around - {words[at].text})

    def _numbered_at(self, at: int, *, whole: bool) -> Mention | None:
        """The place that a number is: "three", "the second". The "second" of a "second stage", not
        the ``whole`` place, stays as it was said."""
        close = [n for n in near(self.roled, at, at) if n.number.first <= at <= n.number.last]
        for item in close:
            keeps = item.number.form == "ordinal" or self.transcript.words[at].text == "one"
            if _is_place(item) and (whole or not keeps):
                return Mention("place", _digits(item), at, at)
        if not whole:
            return None
        word = replace(self.transcript.words[at], text=_plain(self.transcript.words[at].text))
        said = [] if close else [n for run in find_numbers([word]) for n in run.readings[0]]
        return Mention("place", said[0].said, at, at) if said and _is_whole(said[0]) else None

    def also_at(self, first: int) -> tuple[str, ...]:
        """The places of a value that was said for several: "three and four both six thou"."""
        places = [p for p in self._place_of.get(first, ()) if p.kind == "place"]
        last = max((p.first for p in places), default=first)
        group = [p for p in near(self.places, last, last) if p.kind == "place" and p.first <= last]
        together = group[-1:]
        for place in reversed(group[:-1]):
            if self.between(place.last, together[0].first) != ["and"]:
                break
            together.insert(0, place)
        return tuple(p.name for p in together) if places and len(together) > 1 else ()

    def position_at(self, component: Mention) -> str | None:
        """The place said right beside a component."""
        for place in near(self.places, component.first, component.last):
            just_before = 0 < component.first - place.last <= 1
            just_after = 0 < place.first - component.last <= 1
            if (just_before or just_after) and not self.paused(place.last, component.first):
                return place.name
        return None

    # ---- states ----------------------------------------------------------------------------------

    def state_of(self, first: int) -> str | None:
        """The state in which a value was measured: "hot", "on load"."""
        state = self._states.get(first)
        return state.name if state else None

    def _shared_states(self, states: Sequence[Mention]) -> Iterator[tuple[int, Mention | None]]:
        """Of each measured number the state said near: before it, if no value before has taken that
        ("cold four bar hot three"), else behind it ("four bar cold three hot"). A state said before
        the first of several values of one thing goes for all of them."""
        taken: Mention | None = None
        taker: RoledNumber | None = None
        for item in self.roled:
            if item.role not in MEASURING:
                continue
            close = near(states, item.first, item.last)
            before = [s for s in close if item.first - STATE_BEFORE <= s.first < item.first]
            behind = [s for s in close if item.last < s.first and self._is_behind(item, s)]
            free = [
                s for s in (*reversed(before), *behind) if taken is None or s.first > taken.first
            ]
            state = next(iter(free), None)
            if state is None and taken in before and self._goes_for(taken, taker, item):
                state = taken
            if state is not None and state is not taken:
                taken, taker = state, item
            yield item.first, state

    def _is_behind(self, item: RoledNumber, state: Mention) -> bool:
        """Not "twelve volts, pause, cranking nine volts"."""
        close = state.last <= item.last + STATE_BEHIND
        return close and not self.paused(item.last, state.first)

    def _goes_for(self, state: Mention, taker: RoledNumber, item: RoledNumber) -> bool:
        """Whether the state of a number is that of a later one too: of the same thing, and said
        before both or in one breath with them."""
        led = state.first < taker.first
        breath = not paused(self.transcript, taker.last, item.first, seconds=SHORT_PAUSE)
        return self._is_of_one_thing(taker, item) and (led or breath)

    def _is_of_one_thing(self, one: RoledNumber, other: RoledNumber) -> bool:
        """Whether no other thing was named between two numbers."""
        before = {c.name for c in near(self.components, one.first, one.first) if c.last < one.first}
        between = near(self.components, one.last, other.first)
        return all(c.name in before for c in between if one.last < c.first and c.last < other.first)

    # ---- quantities ------------------------------------------------------------------------------

    def _apart(self, last: int, first: int) -> bool:
        """Whether a pause or a thing stands between a number and a word behind it: "pads three
        millimetres disc runout two thou"."""
        return self.paused(last, first) or self._thing_between(last, first)

    def _thing_between(self, last: int, first: int) -> bool:
        return any(last < c.first and c.last < first for c in near(self.components, last, first))

    def quantity_word(self, first: int, last: int, units: Sequence[UnitWords]) -> Mention | None:
        """The nearest quantity word that the unit allows: said since the last value, else just
        behind the number ("six mil of play"), else before the last value."""
        allowed = {q for unit in units for q in unit.quantities}
        close = [
            q
            for q in near(self.mentions.of("quantity"), first, last)
            if not allowed or q.name in allowed
        ]
        before = [q for q in close if 0 < first - q.last <= SAID_FAR]
        behind = [q for q in close if 0 < q.first - last <= 3 and not self._apart(last, q.first)]
        earlier = max(
            (n.last for n in near(self.roled, first, last) if n.last < first and _valued(n)),
            default=-1,
        )
        fresh = [q for q in before if q.first > earlier]
        if fresh:
            return fresh[-1]
        return behind[0] if behind else None


def _inside(component: Mention, states: Sequence[Mention]) -> bool:
    """ "at idle", "engine running": a state, not the thing that was measured."""
    close = near(states, component.first, component.last)
    return any(
        s.first < component.first or s.last > component.last
        for s in close
        if s.first <= component.first and component.last <= s.last
    )


def _numbered(place: Mention) -> Mention:
    """ "two's" is a place by number, as "cylinder two" is."""
    return replace(place, kind="place") if place.name.isdigit() else place


def _valued(item: RoledNumber) -> bool:
    return item.role in MEASURING


def _is_close(place: Mention, component: Mention | None, first: int) -> bool:
    """Beside the number, or right before its thing: "front disc runout is three thou"."""
    named = component is not None and place.last + 1 == component.first
    return named or abs(first - place.last) <= BESIDE_VALUE


def _is_place(item: RoledNumber) -> bool:
    return item.unit is None and _is_whole(item.number)


def _is_whole(number: Number) -> bool:
    return number.value == number.value.to_integral_value()


def _plain(word: str) -> str:
    return word.removesuffix("'s")


def _places(mentions: Mentions, roled: tuple[RoledNumber, ...]) -> list[Mention]:
    """All places that were said, by name or by number, in order."""
    numbered = [
        Mention("place", _digits(n), n.number.first, n.number.last)
        for n in roled
        if n.role == "position"
    ]
    named = [_numbered(place) for place in mentions.of("position")]
    return sorted([*named, *numbered], key=lambda place: place.first)


def _digits(item: RoledNumber) -> str:
    return f"{int(item.number.value)}"
