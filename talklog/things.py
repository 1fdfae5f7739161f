"""Step 5c: actions, parts and findings: what was done, fitted and found. Knows no bands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from talklog.context import Context
from talklog.mentions import CueMention, Mention, near
from talklog.notes import Action, Finding, FollowUp, Part
from talklog.roled import RoledNumber
from talklog.vocabulary import PART_CUES

OBJECT = 5  # words between a verb and the thing it is done to
PRONOUNS = ("it", "them", "that", "those")
BEFORE_VERB = (
    "to",
    "and",
    "then",
    "i'll",
    "we'll",
    "will",
    "please",
    "must",
    "should",
    "just",
    "or",
)
BEFORE_VERB += (
    "i",
    "we",
    "you",
    "let's",
    "not",
    "don't",
    "didn't",
    "can",
    "could",
    "need",
    "needs",
)
SAME_FORM = ("set", "cut", "put", "put in", "put on", "put back")  # done and to do are said alike
PART_REACH = 3  # words between a cue about a part and the part
# Of several cues on a part the first kind of these counts: "order a new belt" is not fitted.
STATUS = {
    "part_on_order": "on_order",
    "part_needed": "needed",
    "part_missing": "missing",
    "part_reused": "reused",
    "part_fitted": "fitted",
}


def not_done(context: Context, first: int) -> bool:
    """Whether words before ``first`` say that it is still to do, or was not done."""
    return any(
        cue.last < first <= cue.last + cue.cue.scope and not context.paused(cue.last, first)
        for cue in near(context.mentions.cues_of("not_done"), first, first)
        if not _stopped(context, cue.last, first)
    )


def _stopped(context: Context, last: int, first: int) -> bool:
    stops = near(context.mentions.cues_of("terminator"), last, first)
    return any(last < stop.first and stop.last < first for stop in stops)


def actions(context: Context, later: Sequence[FollowUp] = ()) -> Iterator[Action]:
    """Every verb of the vocabulary with a thing beside it; the thing talked of, for "did it up".
    What lies within one of the follow-ups ``later`` is still to do."""
    nouns = sorted([*context.components, *context.mentions.of("quantity")], key=lambda n: n.first)
    for span in context.mentions.of("action"):
        if _is_noun(context, span, nouns):
            continue
        thing = _object(context, span)
        if thing is None:
            continue
        beside = abs(thing.first - span.last) <= OBJECT or abs(span.first - thing.last) <= OBJECT
        yield Action(
            span.name,
            thing.name,
            context.position_at(thing),
            not (not_done(context, span.first) or _within(span, later)),
            min(span.first, thing.first) if beside else span.first,
            max(span.last, thing.last) if beside else span.last,
        )


def _within(span: Mention, later: Sequence[FollowUp]) -> bool:
    return any(f.first <= span.first and span.last <= f.last for f in later)


def _is_noun(context: Context, span: Mention, nouns: list[Mention]) -> bool:
    """ "pump" in "water pump", "torque" in "torque wrench", "time" anywhere: a base form is a verb
    only where a verb can stand, and never inside the name of a thing."""
    if context.transcript.heard(span.first, span.last) != span.name:
        return False
    close = near(nouns, span.first, span.last)
    if any(n.first <= span.last and span.first <= n.last for n in close):
        return True
    before = context.between(span.first - 2, span.first)
    opens = not before or context.paused(span.first - 1, span.first)
    return not (opens or before[0] in BEFORE_VERB or span.name in SAME_FORM)


def _object(context: Context, span: Mention) -> Mention | None:
    """The thing talked of for "it"; else the thing beside the verb."""
    following = context.transcript.words[span.last + 1 : span.last + 2]
    if following and following[0].text in PRONOUNS:
        return context.component_of(span.first)[0]
    return thing_beside(context, span)


def thing_beside(context: Context, span: Mention) -> Mention | None:
    """The component an action is about: just after it, else just before it."""
    close = near(context.components, span.first, span.last)
    after = next(
        (
            c
            for c in close
            if 0 < c.first - span.last <= OBJECT
            and not context.paused(span.last, c.first)
            and not _new_verb(context, span.last, c.first)
        ),
        None,
    )
    before = [
        c
        for c in close
        if 0 < span.first - c.last <= OBJECT and not context.paused(c.last, span.first)
    ]
    if after is None or not before:
        return after or (before[-1] if before else None)
    passive = span.first - before[-1].last <= 1 < after.first - span.last - 1
    return before[-1] if passive else after


def _new_verb(context: Context, last: int, first: int) -> bool:
    """Whether another verb or a number stands between: its thing is not ours."""
    others = [*near(context.mentions.of("action"), last, first), *near(context.roled, last, first)]
    return any(last < other.first < first for other in others)


# ---- parts ---------------------------------------------------------------------------------------


def parts(
    context: Context, counted: list[RoledNumber]
) -> Iterator[tuple[Part, RoledNumber | None]]:
    """Every part whose fate was said, with the number that counts it."""
    for component in context.components:
        cue = _part_cue(context, component)
        if cue is None:
            continue
        count = next((n for n in counted if _counts(context, n, component)), None)
        status = STATUS[cue.cue.category]
        if status == "fitted" and not_done(context, cue.first):
            status = "needed"
        whole = count is not None and count.number.value == int(count.number.value)
        first, last = min(cue.first, component.first), max(cue.last, component.last)
        part = Part(component.name, int(count.number.value) if whole else None, status, first, last)
        yield part, count if whole else None


def _counts(context: Context, item: RoledNumber, component: Mention) -> bool:
    return 0 < component.first - item.number.last <= 3


def _part_cue(context: Context, component: Mention) -> CueMention | None:
    """The weightiest cue on a part: on order and needed outweigh "new"."""
    found = [
        mention
        for mention in near(context.mentions.cues_of(*PART_CUES), component.first, component.last)
        if _on_part(context, mention, component)
    ]
    order = list(STATUS)
    return min(found, key=lambda mention: order.index(mention.cue.category), default=None)


def _on_part(context: Context, mention: CueMention, component: Mention) -> bool:
    if mention.cue.forward:
        low, high = mention.last, component.first
    else:
        low, high = component.last, mention.first
    if not 0 < high - low <= min(PART_REACH, mention.cue.scope) or context.paused(low, high):
        return False
    between = near(context.components, low, high)
    return not any(low < c.first < high for c in between)


# ---- findings ------------------------------------------------------------------------------------


def findings(context: Context) -> Iterator[Finding]:
    """Every condition with the thing it was seen on."""
    for span in context.mentions.of("condition"):
        component = _seen_on(context, span)
        if component is None or _negated(context, span) or _in_quantity(context, span):
            continue
        first, last = min(span.first, component.first), max(span.last, component.last)
        yield Finding(component.name, span.name, first, last)


def _seen_on(context: Context, span: Mention) -> Mention | None:
    """ "the seal is weeping", "seized caliper"."""
    close = near(context.components, span.first, span.last)
    before = [
        c for c in close if 0 < span.first - c.last <= 6 and not context.paused(c.last, span.first)
    ]
    after = [
        c for c in close if 0 < c.first - span.last <= 2 and not context.paused(span.last, c.first)
    ]
    adjacent = after and after[0].first == span.last + 1
    if adjacent and not (before and span.first - before[-1].last <= 2):
        return after[0]
    return before[-1] if before else (after[0] if after else None)


def _in_quantity(context: Context, span: Mention) -> bool:
    """ "free" in "free play": no finding."""
    close = near(context.mentions.of("quantity"), span.first, span.last)
    return any(q.first <= span.first and span.last < q.last for q in close)


def _negated(context: Context, span: Mention) -> bool:
    words = context.transcript.words
    if [word.text for word in words[span.last + 1 : span.last + 2]] == ["to"]:
        return True  # "good to minus twenty"
    before = words[max(0, span.first - 2) : span.first]
    return any(word.text in ("not", "isn't", "wasn't", "aren't", "never") for word in before)
