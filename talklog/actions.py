"""Step 5c: actions: the work that was done, or left to do. Knows no bands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from talklog.beside import lacked, taken_away, thing_beside, together
from talklog.context import Context
from talklog.denied import not_done
from talklog.excepted import excepted
from talklog.mentions import Mention, Span, near, overlap
from talklog.notes import NOT_SAID, Action, FollowUp
from talklog.others import (
    is_alternative,
    is_makeshift,
    is_of_itself,
    is_of_nothing,
    is_of_others,
    is_taken_back,
)
from talklog.seeing.kinds import Work
from talklog.undone import is_over, is_rather_state, is_state, left_undone, long_ago, refused
from talklog.verbs import may_be_past, plain_form
from talklog.vocabulary import load

PLAN = 3  # words between "i'll" and the verb of what is meant to be done
DENIED = 3  # words between "haven't" and a verb that else certainly was done
ORDER = 6  # words from a verb to be done to the next: "clean the face and put it on"
GOING_ON = ("and", "then")
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


def actions(context: Context, later: Sequence[FollowUp] = ()) -> Iterator[Action]:
    """All work done or left to do, in order: what the trained reader takes for work, and verbs of
    the vocabulary that it does not doubt. What lies within one of the follow-ups ``later`` is still
    to do."""
    works = (
        [work for work in context.seen.works if _is_of_job(context, work, work.verb)]
        if context.seen
        else []
    )
    read = [_worked(context, work, later) for work in works]
    left = [one for one in left_undone(context) if not any(overlap(one, own) for own in read)]
    known = _known_actions(context, later)
    spared = [one for one in map(partial(excepted, context), read) if one is not None]
    said = [*read, *left, *spared]
    new = [k for k in known if _stands(context, k) and not any(overlap(k, one) for one in said)]
    yield from sorted([*said, *new], key=lambda action: action.first)


def _is_of_job(context: Context, work: Span, verb: str) -> bool:
    """Whether work is none of the past or of others, nor a state: "door not locked"."""
    state = refused(context, work.first) and is_state(context, work.first)
    state = state or is_of_itself(context, work, verb) or is_rather_state(context, work.first)
    past = long_ago(context, work) or is_over(context, work) or is_of_others(context, work)
    undone = is_taken_back(context, work) or is_alternative(context, work)
    return not (state or past or undone or is_of_nothing(context, work))


def _worked(context: Context, work: Work, later: Sequence[FollowUp]) -> Action:
    thing = _meant_by(context, work)
    thing = taken_away(context, work, thing) if _takes(work.verb) else thing
    first, last = together(work, thing) if thing is not None else (work.first, work.last)
    name = thing.name if thing else NOT_SAID
    place = context.position_at(thing) if thing else None
    coming = any(f.first <= work.first <= f.last for f in later)
    planned = coming or _meant(context, work.first)
    denied = not_done(context, work.first, within=DENIED if work.sure else None)
    denied = denied or refused(context, work.first) or _is_order(context, work)
    done = work.done and not denied and (work.sure or not planned)
    return Action(work.verb, name, place, done, first, last)


def _meant_by(context: Context, work: Work) -> Mention | None:
    """What work was done to: the clip of "missing its clip so i put one in"."""
    following = context.transcript.words[work.first + 1 : work.first + 2]
    if following and following[0].text in load().small_words["stand_ins"]:
        return lacked(context, work.first + 1) or work.thing
    return work.thing


def _takes(verb: str) -> bool:
    return verb in load().removing


def _is_order(context: Context, work: Work) -> bool:
    """ "they're scuffed, hone them": a verb that is no past form and that the trained reader may
    as well take for work to come; "grease it for now" is done."""
    words = context.transcript.words
    named = bool(work.first) and words[work.first - 1].text in ("a", "an", "the")
    plain = not named and not may_be_past(words[work.first].text)
    order = work.open and plain and not is_makeshift(context, work)
    return order or _goes_on_with_order(context, work)


def _goes_on_with_order(context: Context, work: Work) -> bool:
    """The "put" of "drain it and put the right stuff in", which by itself may be past."""
    words = context.transcript.words
    same = plain_form(words[work.first].text) == words[work.first].text
    if not same or not work.first or words[work.first - 1].text not in GOING_ON:
        return False
    before = [w for w in near(context.seen.works, work.first, work.first) if w.last < work.first]
    close = bool(before) and work.first - before[-1].last <= ORDER
    return close and before[-1].open and not context.paused(before[-1].last, work.first)


def _meant(context: Context, first: int) -> bool:
    """ "i'll set it tomorrow": a plan."""
    cues = near(context.mentions.cues_of("intention"), first, first)
    return any(
        c.first < first <= c.last + PLAN and not context.paused(c.first, first) for c in cues
    )


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
        if _is_noun(context, span, nouns) or not _is_of_job(context, span, span.name):
            continue
        thing = _object(context, span)
        if _takes(span.name):
            thing = taken_away(context, span, thing)
        if thing is None:
            continue
        denied = not_done(context, span.first) or refused(context, span.first)
        done = not (denied or _within(span, later))
        first, last = together(span, thing)
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
