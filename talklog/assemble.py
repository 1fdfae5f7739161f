"""Step 5: roles and mentions -> readings, things set aside, actions, parts, findings, follow-ups.

``understand`` runs steps 3 to 5. Every number of a note ends up somewhere: as a reading, set aside,
as a place, a part's quantity, a follow-up's due, the meter, or among what is unsure.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator

from talklog.mentions import CueMention, Mention, Mentions, find_mentions, near
from talklog.notes import (
    NOT_SAID,
    Action,
    Alternative,
    Due,
    Finding,
    FollowUp,
    Meter,
    Notes,
    Part,
    Reading,
    SetAside,
    SpokenCaution,
    Unsure,
)
from talklog.roles import LONG_PAUSE, MEASURING, PLACE_NAMES, RoledNumber, assign_roles
from talklog.transcript import Transcript

NEAR = 14  # words: how far a component or quantity word may stand from its number
AFTER = 5  # words: how far behind
SURE = 0.8  # the recogniser's confidence below which a number is asked about; see the model card
BESIDE = 3  # words between a place and its component or number
DISTANCES, HOURS = ("mi", "km"), ("h",)
DURATIONS = {
    "day": "P{}D",
    "days": "P{}D",
    "week": "P{}W",
    "weeks": "P{}W",
    "month": "P{}M",
    "months": "P{}M",
    "year": "P{}Y",
    "years": "P{}Y",
}
EVENTS = ("next service", "next time", "before it goes out", "next visit", "spring")
# A component that settles what a unit measures when no quantity word was said.
HABITS = {
    ("battery", "V"): "voltage",
    ("cylinder", "psi"): "compression",
    ("cylinder", "bar"): "compression",
    ("engine", "rpm"): "speed",
    ("big end", "thou"): "clearance",
    ("spark plug", "mm"): "gap",
    ("spark plug", "thou"): "gap",
    ("inlet", "mm"): "gap",
    ("exhaust", "mm"): "gap",
    ("brake pad", "mm"): "thickness",
    ("brake disc", "mm"): "thickness",
    ("brake shoe", "mm"): "thickness",
    ("tyre", "mm"): "depth",
    ("drive belt", "mm"): "deflection",
    ("belt", "mm"): "deflection",
    ("chain", "mm"): "sag",
    ("brake disc", "thou"): "runout",
}
CONDITIONS_OF_MEASURING = (
    "cold",
    "hot",
    "warm",
    "dry",
    "wet",
    "loaded",
    "unloaded",
    "on load",
    "off load",
    "at idle",
    "cranking",
)


def understand(transcript: Transcript) -> Notes:
    """Everything a note says. "rear tyre two point two bar" -> one reading of 2.2 bar.

    Raises DataFileError when a vocabulary file breaks the rules.
    """
    mentions = find_mentions(transcript)
    return assemble(transcript, mentions, assign_roles(transcript, mentions))


def assemble(transcript: Transcript, mentions: Mentions, roled: tuple[RoledNumber, ...]) -> Notes:
    """Puts the roled numbers and the other mentions together."""
    readings, aside, unsure, meter = [], [], [], None
    due_numbers = [n for n in roled if n.role == "follow_up" and _can_be_due(transcript, n)]
    counted = [n for n in roled if n.role == "count"]
    context = _Context(transcript, mentions, roled)
    for item in roled:
        first, last = item.number.first, item.last
        if item.role in MEASURING:
            made = _reading(context, item)
            if isinstance(made, Reading):
                readings.append(made)
            else:
                unsure.append(made)
        elif item.role == "meter" and meter is None and item.unit is not None:
            meter = Meter(item.number.value, item.number.said, item.unit.name, first, last)
        elif item.role == "position" or item in due_numbers:
            continue
        elif item.role in ("unknown", "meter", "follow_up"):
            unsure.append(
                Unsure(f"a number that could not be placed ({item.because})", first, last)
            )
        else:
            aside.append(SetAside(item.role, first, last))
    unsure += _unread(transcript, mentions)
    return Notes(
        readings=tuple(readings),
        set_aside=tuple(aside),
        actions=tuple(_actions(context)),
        parts=tuple(_parts(context, counted)),
        findings=tuple(_findings(context)),
        follow_ups=tuple(_follow_ups(context, due_numbers)),
        cautions=tuple(_cautions(context)),
        unsure=tuple(unsure),
        meter=meter,
    )


def _unread(transcript: Transcript, mentions: Mentions) -> Iterator[Unsure]:
    """Typed digits that are no number as they stand, such as "1,5": never passed over."""
    covered = {at for run in mentions.numbers for at in range(run.first, run.last + 1)}
    for at, word in enumerate(transcript.words):
        if at not in covered and word.text[:1].isdigit():
            yield Unsure("digits that could be read in more than one way", at, at)


class _Context:
    """The note and what was found in it, with the searches that all parts of this step share."""

    def __init__(
        self, transcript: Transcript, mentions: Mentions, roled: tuple[RoledNumber, ...]
    ) -> None:
        self.transcript, self.mentions, self.roled = transcript, mentions, roled
        self.components = mentions.of("component")
        self.positions = mentions.of("position")
        self.places = [n for n in roled if n.role == "position"]

    def paused(self, first: int, last: int) -> bool:
        """Whether a long pause lies between two words."""
        return any(
            self.transcript.words[at].pause_before >= LONG_PAUSE
            for at in range(first + 1, min(last + 1, len(self.transcript.words)))
        )

    def component_of(self, first: int, last: int) -> tuple[Mention | None, str]:
        """The component a number at ``first..last`` belongs to, and why."""
        after = [
            c
            for c in near(self.components, first, last)
            if last < c.first <= last + AFTER
            and self._joined(last, c.first)
            and not self.paused(last, c.first)
        ]
        if after:
            return after[0], "named just after"
        end = bisect_left(self.components, first, key=lambda c: c.first)
        before = [c for c in self.components[max(0, end - 3) : end] if c.last < first]
        if not before:
            return None, "no component was named"
        if (
            len(before) > 1
            and before[-1].name == "cylinder"
            and (
                before[-1].first - before[-2].last <= 2
                and not self.paused(before[-2].last, before[-1].first)
            )
        ):
            return before[-2], "named before, at a cylinder"  # "inlet valve cylinder one"
        carried = first - before[-1].last > NEAR or self.paused(before[-1].last, first)
        return before[-1], "carried on from before" if carried else "named before"

    def _joined(self, last: int, component: int) -> bool:
        """ "on the", "in the", "at the": the component after a value belongs to it."""
        between = self.transcript.heard(last + 1, component - 1).split()
        return (
            bool(between) and between[0] in ("on", "in", "at", "for", "across", "of", "to")
        ) or (not between and not any(c.last < last for c in self.components[:1]))

    def position_of(self, first: int, last: int, component: Mention | None) -> str | None:
        """The place beside a number or its component: a number ("2") or a name ("front left")."""
        spans = [(first, last)] + ([(component.first, component.last)] if component else [])
        numbers = [p for p in near(self.places, first, last) if 0 < first - p.number.last <= BESIDE]
        if numbers:
            return str(numbers[-1].number.said)
        for low, high in spans:
            close = [
                p
                for p in near(self.positions, low, high)
                if self._beside(p, low, high)
                and (component is None or (p.first, p.last) != (component.first, component.last))
            ]
            if close:
                return close[-1].name
        if component is not None and component.name in (*PLACE_NAMES, "cylinder"):
            same = [
                p
                for p in near(self.places, component.last, component.last)
                if p.number.first == component.last + 1
            ]
            return str(same[0].number.said) if same else None
        return None

    def _beside(self, place: Mention, low: int, high: int) -> bool:
        """Just before, or after a preposition ("two point two on the front left")."""
        if 0 < low - place.last <= BESIDE:
            crossed = any(place.last < n.number.first < low for n in near(self.roled, low, high))
            return not crossed and not self.paused(place.last, low)
        between = self.transcript.heard(high + 1, place.first - 1).split()
        return (
            0 < place.first - high <= BESIDE
            and not self.paused(high, place.first)
            and (bool(between) and between[0] in ("on", "at", "in"))
        )

    def quantity_word(self, first: int, last: int, allowed: tuple[str, ...]) -> Mention | None:
        """The nearest quantity word that the unit allows, before the number or just behind it."""
        close = [
            q
            for q in near(self.mentions.of("quantity"), first, last)
            if (not allowed or q.name in allowed)
            and (
                (0 < first - q.last <= NEAR and not self.paused(q.last, first))
                or (0 < q.first - last <= 3 and not self.paused(last, q.first))
            )
        ]
        crossed = [
            n for n in near(self.roled, first, last) if n.role in MEASURING and n.last < first
        ]
        free = [
            q for q in close if q.first > last or not any(q.last < n.number.first for n in crossed)
        ]
        earlier = [q for q in free if q.last < first]
        later = [q for q in free if q.first > last]
        return earlier[-1] if earlier else (later or close or [None])[0]


def _reading(context: _Context, item: RoledNumber) -> Reading | Unsure:
    number, first, last = item.number, item.number.first, item.last
    component, why_component = context.component_of(first, last)
    units = item.unit.units if item.unit else ()
    allowed = tuple(dict.fromkeys(q for unit in units for q in unit.quantities))
    said = context.quantity_word(first, last, allowed)
    if not units and (said is None or component is None):
        return Unsure("a number without a unit", first, last)
    quantity, unit, doubt = _measured(component, units, said)
    start = said.first if said and 0 < first - said.last <= BESIDE else first
    alternatives = _alternatives(item, unit, units)
    return Reading(
        quantity=quantity,
        component=_component_name(component, said, context, first),
        position=context.position_of(first, last, component),
        condition=_condition(context, first, last),
        value=number.value,
        said=number.said,
        unit=unit,
        role=item.role,
        first=min(start, first),
        last=last,
        reason=f"role {item.role}: {item.because}; quantity {quantity}: "
        f"{'said' if said else 'usual for the unit'}; component: {why_component}",
        doubt=item.doubt or doubt or _heard_badly(context, first, last),
        alternatives=alternatives,
    )


def _heard_badly(context: _Context, first: int, last: int) -> str | None:
    """A value is as good as its worst-heard word."""
    heard = [w for w in context.transcript.words[first : last + 1] if w.confidence is not None]
    worst = min(heard, key=lambda word: word.confidence, default=None)
    if worst is None or worst.confidence >= SURE:
        return None
    return f'"{worst.text}" was not heard clearly'


def _component_name(
    component: Mention | None, said: Mention | None, context: _Context, first: int
) -> str:
    """The component; a side such as inlet stands for one when nothing else was named."""
    if component is not None:
        return component.name
    close = [p for p in context.positions if 0 < first - p.last <= NEAR]
    return close[-1].name if close and close[-1].name in ("inlet", "exhaust") else NOT_SAID


def _measured(
    component: Mention | None, units: tuple, said: Mention | None
) -> tuple[str, str | None, str | None]:
    """Quantity, unit name and doubt. Words decide first, then what is usual for the component."""
    if not units:
        return said.name, None, "no unit was said"
    fitting = [u for u in units if said is not None and said.name in u.quantities] or list(units)
    for unit in fitting:
        habit = HABITS.get((component.name, unit.name)) if component else None
        if said is None and habit:
            return habit, unit.name, None
    unit = fitting[0]
    quantity = said.name if said is not None else unit.quantities[0]
    if len(fitting) == 1:
        return quantity, unit.name, None
    names = " or ".join(u.name for u in fitting)
    return quantity, unit.name, f"the unit could be {names}"


def _alternatives(item: RoledNumber, unit: str | None, units: tuple) -> tuple[Alternative, ...]:
    numbers = tuple(
        Alternative(n.value, n.said, unit, "the same words read another way") for n in item.others
    )
    others = tuple(
        Alternative(item.number.value, item.number.said, u.name, "the unit word is used for both")
        for u in units
        if u.name != unit
    )
    return numbers + others


def _condition(context: _Context, first: int, last: int) -> str | None:
    words = context.transcript.words
    low, high = max(0, first - 6), min(len(words), last + 4)
    text = f" {context.transcript.heard(low, high - 1)} "
    return next((c for c in CONDITIONS_OF_MEASURING if f" {c} " in text), None)


# ---- actions, parts, findings --------------------------------------------------------------------


def _not_done(context: _Context, first: int) -> bool:
    return any(
        c.cue.category == "not_done"
        and c.last < first <= c.last + c.cue.scope
        and not context.paused(c.last, first)
        for c in near(context.mentions.cues, first, first)
    )


def _actions(context: _Context) -> Iterator[Action]:
    nouns = sorted([*context.components, *context.mentions.of("quantity")], key=lambda n: n.first)
    for span in context.mentions.of("action"):
        base = context.transcript.heard(span.first, span.last) == span.name
        if base and any(
            n.first <= span.last and span.first <= n.last
            for n in near(nouns, span.first, span.last)
        ):
            continue  # a noun here: "pump" in "water pump", "free" in "free play", "torque"
        component = _thing_beside(context, span)
        if component is None:
            continue
        yield Action(
            span.name,
            component.name,
            context.position_of(component.first, component.last, component),
            not _not_done(context, span.first),
            min(span.first, component.first),
            max(span.last, component.last),
        )


def _thing_beside(context: _Context, span: Mention) -> Mention | None:
    """The component an action or condition is about: just after it, else just before."""
    after = [
        c
        for c in near(context.components, span.first, span.last)
        if 0 < c.first - span.last <= 5 and not context.paused(span.last, c.first)
    ]
    before = [
        c
        for c in near(context.components, span.first, span.last)
        if 0 < span.first - c.last <= 5 and not context.paused(c.last, span.first)
    ]
    return after[0] if after else (before[-1] if before else None)


PART_STATUS = {"part_needed": "needed", "part_fitted": "fitted", "part_on_order": "on_order"}


def _parts(context: _Context, counted: list[RoledNumber]) -> Iterator[Part]:
    for component in context.components:
        cue = _part_cue(context, component)
        if cue is None:
            continue
        count = next((n for n in counted if 0 < component.first - n.number.last <= 3), None)
        status = PART_STATUS[cue.cue.category]
        if status == "fitted" and _not_done(context, cue.first):
            status = "needed"
        yield Part(
            component.name,
            int(count.number.value) if count else None,
            status,
            min(cue.first, component.first),
            max(cue.last, component.last),
        )


def _part_cue(context: _Context, component: Mention) -> CueMention | None:
    """The strongest cue on a part: needed and on order outweigh "new"."""
    found = []
    for mention in near(context.mentions.cues, component.first, component.last):
        if mention.cue.category in PART_STATUS:
            gap = (
                component.first - mention.last
                if mention.cue.forward
                else mention.first - component.last
            )
            low, high = sorted((mention.last, component.first))
            crossed = any(low < c.first < high for c in near(context.components, low, high))
            if (
                0 < gap <= min(3, mention.cue.scope)
                and not crossed
                and not context.paused(low, high)
            ):
                found.append(mention)
    return min(found, key=lambda m: m.cue.category == "part_fitted", default=None)


def _findings(context: _Context) -> Iterator[Finding]:
    for span in context.mentions.of("condition"):
        before = [
            c
            for c in near(context.components, span.first, span.last)
            if 0 < span.first - c.last <= 6 and not context.paused(c.last, span.first)
        ]
        after = [
            c
            for c in near(context.components, span.first, span.last)
            if 0 < c.first - span.last <= 3 and not context.paused(span.last, c.first)
        ]
        component = before[-1] if before else (after[0] if after else None)
        if component is not None:
            yield Finding(
                component.name,
                span.name,
                min(span.first, component.first),
                max(span.last, component.last),
            )


# ---- what is still to do -------------------------------------------------------------------------


def _can_be_due(transcript: Transcript, item: RoledNumber) -> bool:
    return _due(transcript, item) is not None


def _due(transcript: Transcript, item: RoledNumber) -> Due | None:
    if item.unit is not None and item.unit.name in DISTANCES:
        return Due(distance=(item.number.said, item.unit.name))
    if item.unit is not None and item.unit.name in HOURS:
        return Due(hours=item.number.said)
    following = transcript.words[item.number.last + 1 : item.number.last + 2]
    pattern = DURATIONS.get(following[0].text) if following else None
    whole = item.number.value == item.number.value.to_integral_value()
    return Due(duration=pattern.format(item.number.said)) if pattern and whole else None


def _follow_ups(context: _Context, due_numbers: list[RoledNumber]) -> Iterator[FollowUp]:
    end = -1
    for cue in (c for c in context.mentions.cues if c.cue.category == "follow_up"):
        if cue.first <= end:
            continue
        start = _beginning(context, cue)
        end = _reach(context, cue)
        number = next((n for n in due_numbers if cue.last < n.number.first <= end), None)
        said = context.transcript.heard(start, end)
        event = next((event for event in EVENTS if event in said), None)
        due = _due(context.transcript, number) if number else (Due(event=event) if event else None)
        thing = next((c for c in context.components if start <= c.first <= end), None)
        yield FollowUp(said, thing.name if thing else None, due, start, end)


def _reach(context: _Context, cue: CueMention) -> int:
    """The last word that a cue governs: up to its scope or the next long pause."""
    words, end = context.transcript.words, cue.last
    while (
        end + 1 < len(words)
        and end - cue.last < cue.cue.scope
        and (words[end + 1].pause_before < LONG_PAUSE)
    ):
        end += 1
    return end


def _beginning(context: _Context, cue: CueMention) -> int:
    """ "check the belt | again in fifty hours": the action just before belongs to it."""
    close = [
        a.first
        for a in near(context.mentions.of("action"), cue.first, cue.last)
        if 0 < cue.first - a.last <= 5 and not context.paused(a.last, cue.first)
    ]
    return close[-1] if close else cue.first


def _cautions(context: _Context) -> Iterator[SpokenCaution]:
    end = -1
    for cue in (c for c in context.mentions.cues if c.cue.category == "caution"):
        if cue.first > end:
            end = _reach(context, cue)
            yield SpokenCaution(context.transcript.heard(cue.first, end), cue.first, end)
