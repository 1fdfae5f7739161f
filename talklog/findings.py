"""Step 5c: findings: the conditions in which things were found. Knows no bands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from talklog.beside import together
from talklog.context import Context
from talklog.mentions import Mention, Span, near, overlap
from talklog.notes import Finding, SpokenCaution
from talklog.scopes import SHORT_PAUSE, paused, reaches
from talklog.undone import is_state, refused, says_left
from talklog.verbs import may_be_past
from talklog.vocabulary import load

OPEN = 6  # words from "if" to a state that it leaves open, at most
MEANT = 3  # words from a correction to the thing that is meant


def findings(context: Context, warned: Sequence[SpokenCaution] = ()) -> Iterator[Finding]:
    """Every condition with the thing it was seen on, in order; none within a warning."""
    read = list(_read_findings(context)) if context.seen is not None else []
    known = [k for k in _known_findings(context) if not any(overlap(k, one) for one in read)]
    for finding in sorted([*read, *known], key=lambda finding: finding.first):
        within = any(w.first <= finding.first and finding.last <= w.last for w in warned)
        if not within and not _is_opinion(context, finding):
            yield finding


def _is_opinion(context: Context, finding: Finding) -> bool:
    """Whether somebody else says it, in one breath: "owner reckons the clutch is slipping"."""
    span = Mention("condition", "", finding.first, finding.last)
    cues = near(context.mentions.cues_of("other_opinion"), finding.first, finding.last)
    return any(
        cue.cue.forward
        and cue.last < finding.first
        and not paused(context.transcript, cue.last, span.first, seconds=SHORT_PAUSE)
        and reaches(context.transcript, context.mentions, cue, span)
        for cue in cues
    )


def _read_findings(context: Context) -> Iterator[Finding]:
    """What the trained reader takes for a state of a thing."""
    cured = [(start, s.first) for s in context.seen.states
             if (start := _with_symptom(context, s.first)) < s.first]  # fmt: skip
    for state in context.seen.states:
        if any(start <= state.first and state.last < end for start, end in cured):
            continue
        thing = _corrected(context, state.thing)
        start = _with_symptom(context, state.first)
        words = context.transcript.words[start : state.last + 1]
        said = " ".join(w.text for at, w in enumerate(words, start)
                        if thing is None or not thing.first <= at <= thing.last)  # fmt: skip
        if thing is None or _says_nothing(said) or _in_quantity(context, state):
            continue
        if _is_name(context, state):
            continue
        if _is_left(context, state) or _is_no_state(context, state):
            continue
        yield Finding(thing.name, said, *together(replace(state, first=start), thing))


def _corrected(context: Context, thing: Mention | None) -> Mention | None:
    """The thing that was put in its place at once: "out of the nipple no wait the hose"."""
    close = near(context.mentions.cues_of("superseded"), thing.last, thing.last) if thing else []
    cue = next((c for c in close if c.first == thing.last + 1 and c.last > c.first), None)
    if cue is None or context.paused(thing.last, cue.last):
        return thing
    behind = near(context.components, cue.last, cue.last)
    return next((c for c in behind if 0 < c.first - cue.last <= MEANT), thing)


def _says_nothing(said: str) -> bool:
    """Whether words are no state by themselves: "the", "some", "hang on"."""
    small = load().small_words
    empty = small["never_last"] | small["before_names"] | small["no_states"]
    return said in small["never_states"] or all(word in empty for word in said.split())


def _is_name(context: Context, state: Span) -> bool:
    """Whether the words of a state only name a thing: the "rail" of "broken weld on the rail"."""
    words, small = context.transcript.words, load().small_words
    at = state.first - 1
    while at >= 0 and words[at].text in small["before_names"]:
        at -= 1
    if at < 0 or words[at].text not in small["before_places"]:
        return False
    close = near(context.mentions.of("component"), state.first, state.last)
    return any(c.first <= state.first and state.last <= c.last for c in close)


def _is_no_state(context: Context, state: Span) -> bool:
    """Whether a state is only possible, or is work: "might be bent", "cracked off"."""
    close = near(context.mentions.of("action"), state.first, state.last)
    within = any(a.first <= state.first and state.last < a.last for a in close)
    unseen = _is_perhaps(context, state) or _is_unsaid(context, state)
    return within or unseen or _is_work(context, state)


def _is_perhaps(context: Context, state: Span) -> bool:
    """ "the worm might have been damaged": nobody saw it."""
    words, small, at = context.transcript.words, load().small_words, state.first
    while at and words[at].pause_before < SHORT_PAUSE:
        at -= 1
        if words[at].text not in small["perhaps_been"]:
            return words[at].text in small["perhaps"]
    return False


def _is_unsaid(context: Context, state: Span) -> bool:
    """Whether a state is only wanted, or asked for: "should be tight", "if the seal is leaking"."""
    words, small, said = context.transcript.words, load().small_words, ""
    for at in range(state.first - 1, max(-1, state.first - 1 - OPEN), -1):
        if words[at + 1].pause_before >= SHORT_PAUSE:
            return False
        said = f"{words[at].text} {said}".strip()
        if said in small["wanted"] or any(
            f"{said} ".startswith(f"{o} ") for o in small["open_states"]
        ):
            return True
    return False


def _is_work(context: Context, state: Span) -> bool:
    """Whether what opens a clause is a verb with its object behind: "| cracked the union off"."""
    words, small = context.transcript.words, load().small_words
    opens = words[state.first].pause_before >= SHORT_PAUSE or (
        not state.first or words[state.first - 1].text in small["joins"]
    )
    behind = words[state.last + 1 : state.last + 2]
    follows = behind and behind[0].text in small["objects"]
    verb = words[state.first].text if state.first == state.last else ""
    past = may_be_past(verb) and not verb.endswith("ing")
    return bool(opens and past and follows and behind[0].pause_before < SHORT_PAUSE)


def _with_symptom(context: Context, first: int) -> int:
    """Where a state begins with what it is that has gone: "the rattle is gone"."""
    words, small = context.transcript.words, load().small_words
    at = first - 1
    if words[first].text not in small["cured"]:
        return first
    while at > 0 and words[at].text in small["cured_over"]:
        at -= 1
    said = at >= 0 and not paused(context.transcript, at, first, seconds=SHORT_PAUSE)
    return at if said and words[at].text.removesuffix("'s") in small["symptoms"] else first


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
        component = _corrected(context, _seen_on(context, span))
        if component is None or _negated(context, span) or _in_quantity(context, span):
            continue
        if not _may_be_state(context, span) or _is_no_state(context, span):
            continue
        first, last = min(span.first, component.first), max(span.last, component.last)
        yield Finding(component.name, _told(context, span), first, last)


def _told(context: Context, span: Mention) -> str:
    """A condition with the symptom that is gone: the "play gone" of "bearing play gone"."""
    start = _with_symptom(context, span.first)
    return span.name if start == span.first else context.transcript.heard(start, span.last)


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
        c
        for c in close
        if 0 < c.first - span.last <= 2
        and not paused(context.transcript, span.last, c.first, seconds=SHORT_PAUSE)
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
