"""Step 5c: parts: what was fitted, ordered, needed or found missing. Knows no bands."""

from __future__ import annotations

from collections.abc import Iterator

from talklog.context import Context
from talklog.denied import not_done
from talklog.mentions import CueMention, Mention, near
from talklog.notes import Part
from talklog.nouns import singular
from talklog.roled import RoledNumber
from talklog.seeing.kinds import Fate
from talklog.undone import past_part
from talklog.vocabulary import PART_CUES, load

WORKED = ("fitted", "reused")  # fates that come of work
PART_REACH = 3  # words between a cue about a part and the part
# Of several cues on a part the first kind of these counts: "order a new belt" is not fitted.
STATUS = {
    "part_on_order": "on_order",
    "part_needed": "needed",
    "part_missing": "missing",
    "part_reused": "reused",
    "part_fitted": "fitted",
}


def parts(
    context: Context, counted: list[RoledNumber]
) -> Iterator[tuple[Part, RoledNumber | None]]:
    """Every part whose fate was said, with the number that counts it."""
    for component, status, first, last in _fates(context):
        count = next((n for n in counted if _counts(context, n, component)), None)
        whole = count is not None and count.number.value == int(count.number.value)
        number = int(count.number.value) if whole else None
        first = min(first, count.first) if whole else first
        yield Part(component.name, number, status, first, last), count if whole else None


def _fates(context: Context) -> list[tuple[Mention, str, int, int]]:
    """What the trained reader understands, and what a cue says of things that it at least may take
    for a part. The cue knows better; but that a part was fitted it says only where work was done on
    it."""
    told = list(_told_fates(context))
    if context.seen is None:
        return told
    cued = {fate[0]: fate for fate in told if _may_be_part(context, fate[0])}
    read = {fate[0]: fate for fate in _read_fates(context)}
    worked = {work.thing for work in context.seen.works if work.done}
    sure = {t: fate for t, fate in cued.items() if fate[1] != "fitted" or t in worked}
    return sorted((read | sure).values(), key=lambda fate: fate[2])


def _may_be_part(context: Context, thing: Mention) -> bool:
    return any(at in context.seen.maybe_fates for at in range(thing.first, thing.last + 1))


def _read_fates(context: Context) -> Iterator[tuple[Mention, str, int, int]]:
    """Parts with what became of them, as the trained reader understands it."""
    for fate in context.seen.fates:
        if fate.status in WORKED and not _worked_near(context, fate.at):
            continue
        if fate.status == "fitted" and past_part(context, Mention("", "", fate.at, fate.at)):
            continue
        if fate.status == "missing" and _is_worn_out(context, fate):
            continue
        close = near(context.components, fate.at, fate.at)
        thing = next((c for c in close if c.first <= fate.at <= c.last), None)
        if thing is None and fate.thing is not None:
            yield fate.thing, _cued_status(context, fate), fate.at, fate.at
            continue
        if thing is None:
            word = singular(context.transcript.words[fate.at].text)
            thing = Mention("component", word, fate.at, fate.at, base=word)
        if fate.status == "fitted" and _is_only_removed(context, thing):
            continue
        yield thing, fate.status, thing.first, thing.last


def _is_only_removed(context: Context, thing: Mention) -> bool:
    """Whether all that was done to a part is that it was taken away: "took out a shim"."""
    verbs = {work.verb for work in context.seen.works if work.done and work.thing == thing}
    return bool(verbs) and verbs <= load().removing


def _is_worn_out(context: Context, fate: Fate) -> bool:
    """Whether a part that wears is but worn out, and not missing: "seal gone"."""
    words = context.transcript.words[fate.at : fate.at + 1 + PART_REACH]
    wears = fate.thing is not None and fate.thing.base in load().wearing
    return wears and any(word.text in load().small_words["gone"] for word in words)


def _cued_status(context: Context, fate: Fate) -> str:
    """What a cue says of a word that only means a part, else what the reader does: "ordered
    three"."""
    cue = _part_cue(context, Mention("component", "", fate.at, fate.at))
    fitted = cue is None or cue.cue.category == "part_fitted"
    return fate.status if fitted else STATUS[cue.cue.category]


def _worked_near(context: Context, at: int) -> bool:
    """Whether any work was told in one breath with a word: a fuse that is only named was not
    fitted."""
    cues = context.mentions.cues_of(*PART_CUES)
    spans = (*context.seen.works, *context.mentions.of("action"), *cues)
    return any(not context.paused(min(own.first, at), max(own.first, at)) for own in spans)


def _told_fates(context: Context) -> Iterator[tuple[Mention, str, int, int]]:
    """The same by cue."""
    for component in context.components:
        cue = _shared_cue(context, component)
        if cue is None:
            continue
        status = STATUS[cue.cue.category]
        if status == "fitted" and not_done(context, cue.first):
            status = "needed"
        yield component, status, min(cue.first, component.first), max(cue.last, component.last)


def _counts(context: Context, item: RoledNumber, component: Mention) -> bool:
    """ "two new hoses", and not the thermostat behind them."""
    last = item.number.last
    others = near(context.components, last, component.first)
    between = any(last < other.first and other.last < component.first for other in others)
    return 0 < component.first - last <= 3 and not between


def _part_cue(context: Context, component: Mention) -> CueMention | None:
    """The weightiest cue on a part: on order and needed outweigh "new"."""
    found = [
        mention
        for mention in near(context.mentions.cues_of(*PART_CUES), component.first, component.last)
        if _on_part(context, mention, component)
    ]
    order = list(STATUS)
    return min(found, key=lambda mention: order.index(mention.cue.category), default=None)


def _shared_cue(context: Context, component: Mention) -> CueMention | None:
    """The cue on a part, else that on the part it is joined to: "new discs and pads needed"."""
    for part in (component, *_joined(context, component)):
        cue = _part_cue(context, part)
        if cue is not None:
            return cue
    return None


def _joined(context: Context, component: Mention) -> Iterator[Mention]:
    """The things said together with one, before it and then behind it: "a bearing and a nut"."""
    close = near(context.components, component.first, component.last)
    at = close.index(component)
    own = component
    for other in reversed(close[:at]):
        if not _is_pair(context, other, own):
            break
        yield other
        own = other
    own = component
    for other in close[at + 1 :]:
        if not _is_pair(context, own, other):
            break
        yield other
        own = other


def _is_pair(context: Context, one: Mention, other: Mention) -> bool:
    """Whether only "and", small words and how many stand between two things."""
    between = context.between(one.last, other.first)
    counts = near(context.mentions.numbers, one.last, other.first)
    numbers = {at - one.last - 1 for run in counts for at in range(run.first, run.last + 1)}
    words = {word for at, word in enumerate(between) if at not in numbers}
    joins = load().small_words["joins"] & set(between[:1])
    plain = words <= load().small_words["before_names"] | joins
    return bool(joins) and plain and not context.paused(one.last, other.first)


def _on_part(context: Context, mention: CueMention, component: Mention) -> bool:
    if mention.cue.forward:
        low, high = mention.last, component.first
    else:
        low, high = component.last, mention.first
    if not 0 < high - low <= min(PART_REACH, mention.cue.scope) or context.paused(low, high):
        return False
    between = near(context.components, low, high)
    return not any(low < c.first < high for c in between)
