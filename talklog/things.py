"""Step 5c: actions, parts and findings: what was done, fitted and found. Knows no bands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from talklog.context import Context
from talklog.mentions import CueMention, Mention, Span, near, overlap
from talklog.notes import NOT_SAID, Action, Finding, FollowUp, Part, SpokenCaution
from talklog.nouns import singular
from talklog.roled import RoledNumber
from talklog.scopes import SHORT_PAUSE, paused, reaches
from talklog.seeing.kinds import Fate, Work
from talklog.undone import is_state, left_undone, long_ago, past_part, refused, says_left
from talklog.vocabulary import PART_CUES, load

PLAN = 3  # words between "i'll" and the verb of what is meant to be done
DENIED = 3  # words between "haven't" and a verb that else certainly was done
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


def not_done(context: Context, first: int, within: int | None = None) -> bool:
    """Whether words before ``first`` say that it is still to do, or was not done; ``within`` so
    many words, or those that each cue reaches."""
    return any(
        cue.last < first <= cue.last + min(cue.cue.scope, within or cue.cue.scope)
        and not _is_over(context, cue.last, first)
        for cue in near(context.mentions.cues_of("not_done"), first, first)
        if not _stopped(context, cue.last, first)
    )


def _is_over(context: Context, last: int, first: int) -> bool:
    """Whether what was denied has ended: by a long pause, or by a short one behind its own words
    ("i didn't touch it, replaced the seal")."""
    words = context.transcript.words[last + 2 : first + 1]
    return context.paused(last, first) or any(w.pause_before >= SHORT_PAUSE for w in words)


def _stopped(context: Context, last: int, first: int) -> bool:
    stops = near(context.mentions.cues_of("terminator"), last, first)
    return any(last < stop.first and stop.last < first for stop in stops)


def actions(context: Context, later: Sequence[FollowUp] = ()) -> Iterator[Action]:
    """All work done or left to do, in order: what the trained reader takes for work, and verbs of
    the vocabulary that it does not doubt. What lies within one of the follow-ups ``later`` is still
    to do."""
    works = (
        [work for work in context.seen.works if _is_of_job(context, work)] if context.seen else []
    )
    read = [_worked(context, work, later) for work in works]
    left = [one for one in left_undone(context) if not any(overlap(one, own) for own in read)]
    known = _known_actions(context, later)
    said = [*read, *left]
    new = [k for k in known if _stands(context, k) and not any(overlap(k, one) for one in said)]
    yield from sorted([*said, *new], key=lambda action: action.first)


def _is_of_job(context: Context, work: Span) -> bool:
    """Whether work is none of the past, nor a state: "door not locked"."""
    state = refused(context, work.first) and is_state(context, work.first)
    return not state and not long_ago(context, work)


def _worked(context: Context, work: Work, later: Sequence[FollowUp]) -> Action:
    thing = work.thing
    first, last = _together(work, thing) if thing is not None else (work.first, work.last)
    name = thing.name if thing else NOT_SAID
    place = context.position_at(thing) if thing else None
    coming = any(f.first <= work.first <= f.last for f in later)
    planned = coming or _meant(context, work.first)
    denied = not_done(context, work.first, within=DENIED if work.sure else None)
    denied = denied or refused(context, work.first)
    done = work.done and not denied and (work.sure or not planned)
    return Action(work.verb, name, place, done, first, last)


def _meant(context: Context, first: int) -> bool:
    """ "i'll set it tomorrow": a plan."""
    cues = near(context.mentions.cues_of("intention"), first, first)
    return any(
        c.first < first <= c.last + PLAN and not context.paused(c.first, first) for c in cues
    )


def _together(span: Span, thing: Mention) -> tuple[int, int]:
    """The words of both when they stand close, else those of the first."""
    beside = abs(thing.first - span.last) <= OBJECT or abs(span.first - thing.last) <= OBJECT
    if not beside:
        return span.first, span.last
    return min(span.first, thing.first), max(span.last, thing.last)


def _stands(context: Context, action: Action) -> bool:
    """Whether an action is one by rule alone: all without a reader, else what is still to do, and
    checks, which close what was to be checked but are no work to the reader."""
    if context.seen is None or action.verb in load().checking:
        return True
    words = range(action.first, action.last + 1)
    maybe = any(at in context.seen.maybe_works for at in words)
    return not action.done and (maybe or any(refused(context, at) for at in words))


def _known_actions(context: Context, later: Sequence[FollowUp]) -> Iterator[Action]:
    """Every verb of the vocabulary with a thing beside it; the thing talked of, for "did it up"."""
    named = (*context.mentions.of("component"), *context.mentions.of("quantity"))
    nouns = sorted(named, key=lambda noun: noun.first)
    for span in context.mentions.of("action"):
        if _is_noun(context, span, nouns) or not _is_of_job(context, span):
            continue
        thing = _object(context, span)
        if thing is None:
            continue
        denied = not_done(context, span.first) or refused(context, span.first)
        done = not (denied or _within(span, later))
        first, last = _together(span, thing)
        yield Action(span.name, thing.name, context.position_at(thing), done, first, last)


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
    """The component an action is about: just after it, else just before it; before it, if a pause
    follows ("hoses checked, radiator leaking")."""
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
    ended = _breaks(context, span.last, after.first)
    parted = ended and not _breaks(context, before[-1].last, span.first)
    return before[-1] if passive or parted else after


def _breaks(context: Context, first: int, last: int) -> bool:
    return paused(context.transcript, first, last, seconds=SHORT_PAUSE)


def _new_verb(context: Context, last: int, first: int) -> bool:
    """Whether another verb or a number stands between: its thing is not ours."""
    others = [*near(context.mentions.of("action"), last, first), *near(context.roled, last, first)]
    return any(last < other.first < first for other in others)


# ---- parts ---------------------------------------------------------------------------------------


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


# ---- findings ------------------------------------------------------------------------------------


def findings(context: Context, warned: Sequence[SpokenCaution] = ()) -> Iterator[Finding]:
    """Every condition with the thing it was seen on, in order; none within a warning."""
    read = list(_read_findings(context)) if context.seen is not None else []
    known = [k for k in _known_findings(context) if not any(overlap(k, one) for one in read)]
    for finding in sorted([*read, *known], key=lambda finding: finding.first):
        within = any(w.first <= finding.first <= w.last for w in warned)
        if not within and not _is_opinion(context, finding):
            yield finding


def _is_opinion(context: Context, finding: Finding) -> bool:
    """Whether somebody else says it, in one breath: "owner reckons the clutch is slipping"."""
    span = Mention("condition", "", finding.first, finding.last)
    cues = near(context.mentions.cues_of("other_opinion"), finding.first, finding.last)
    return any(
        cue.cue.forward and cue.last < finding.first and not _breaks(context, cue.last, span.first)
        and reaches(context.transcript, context.mentions, cue, span) for cue in cues
    )  # fmt: skip


def _read_findings(context: Context) -> Iterator[Finding]:
    """What the trained reader takes for a state of a thing."""
    for state in context.seen.states:
        thing = state.thing
        words = context.transcript.words[state.first : state.last + 1]
        said = " ".join(w.text for at, w in enumerate(words, state.first)
                        if thing is None or not thing.first <= at <= thing.last)  # fmt: skip
        if thing is None or _says_nothing(said) or _in_quantity(context, state):
            continue
        if _is_left(context, state):
            continue
        first, last = _together(state, thing)
        yield Finding(thing.name, said, first, last)


def _says_nothing(said: str) -> bool:
    """Whether words are no state by themselves: "the", "some"."""
    small = load().small_words
    return all(word in small["never_last"] | small["before_names"] for word in said.split())


def _is_left(context: Context, state: Span) -> bool:
    """Whether the words of a state say that work was not done: "not changed"."""
    verbs = near(context.mentions.of("action"), state.last, state.last)
    return says_left(context, state) or any(
        state.first < verb.first
        and verb.last == state.last
        and refused(context, verb.first)
        and not is_state(context, verb.first)
        for verb in verbs
    )


def _known_findings(context: Context) -> Iterator[Finding]:
    """Conditions of the vocabulary."""
    for span in context.mentions.of("condition"):
        component = _seen_on(context, span)
        if component is None or _negated(context, span) or _in_quantity(context, span):
            continue
        if not _may_be_state(context, span):
            continue
        first, last = min(span.first, component.first), max(span.last, component.last)
        yield Finding(component.name, span.name, first, last)


def _may_be_state(context: Context, span: Span) -> bool:
    """Whether the trained reader does not exclude that the words tell a state."""
    maybe = context.seen.maybe_states if context.seen is not None else None
    return maybe is None or any(at in maybe for at in range(span.first, span.last + 1))


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


def _in_quantity(context: Context, span: Span) -> bool:
    """ "free" in "free play", "dead" in "top dead centre": no finding."""
    known = (*context.mentions.of("quantity"), *context.mentions.of("state"))
    close = near(sorted(known, key=lambda q: q.first), span.first, span.last)
    return any(q.first <= span.first and span.last < q.last for q in close)


def _negated(context: Context, span: Mention) -> bool:
    words = context.transcript.words
    if [word.text for word in words[span.last + 1 : span.last + 2]] == ["to"]:
        return True  # "good to minus twenty"
    before = words[max(0, span.first - 2) : span.first]
    return any(word.text in load().small_words["negations"] for word in before)
