"""Step 4a: how far a cue reaches, and which cue governs a number. Knows no units' sizes, no bands.

A cue reaches over its scope in words, in its direction. A long pause ends it; forward, so does a
terminator ("but i got"). Of the cues that reach a number and can mean it, the nearest counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from talklog.mentions import CueMention, Mention, Mentions, near
from talklog.transcript import Transcript
from talklog.vocabulary import load
from talklog.word_kinds import ROLE_CUES

LONG_PAUSE = 0.8  # seconds: what was said before no longer governs what follows
STATES = ("as_found", "as_left", "set")
NEW = ("component", "quantity")  # what is named where something else is spoken of
JUST_BEFORE = 3  # words from a number, with its unit, to a cue that it has: "two mil minimum"
NEXT = 3  # words from such a cue to the number that it begins
SHORT_PAUSE = 0.3  # seconds: a typed comma; what is counted follows without one


def paused(transcript: Transcript, first: int, last: int, *, seconds: float = LONG_PAUSE) -> bool:
    """Whether a pause of that length lies somewhere between the words ``first`` and ``last``."""
    words = transcript.words
    end = min(last + 1, len(words))
    return any(words[at].pause_before >= seconds for at in range(first + 1, end))


def distance(mention: CueMention, first: int, last: int) -> int | None:
    """Words from a cue to a span in a direction in which it works, ``None`` if in none."""
    if mention.cue.forward and mention.last < first:
        return first - mention.last
    if mention.cue.backward and mention.first > last:
        return mention.first - last
    if mention.cue.backward and first < mention.first <= last < mention.last:
        return 1  # it begins with the unit: "four hundred hours on it"
    return None


def reaches(transcript: Transcript, mentions: Mentions, cue: CueMention, span: Mention) -> bool:
    """Whether a cue governs a span: within its scope, no long pause, no terminator between."""
    gap = distance(cue, span.first, span.last)
    if gap is None or gap > cue.cue.scope:
        return False
    if cue.first > span.last:
        ended = paused(transcript, span.last, cue.first) or _begun_anew(mentions, cue, span)
        return not ended and not _of_the_next(mentions, cue)
    stops = near(mentions.cues_of("terminator"), cue.last, span.first)
    stopped = any(cue.last < stop.first and stop.last < span.first for stop in stops)
    ended = paused(transcript, cue.last, span.first) or _has_ended(transcript, mentions, cue, span)
    return not stopped and not ended


def _has_ended(transcript: Transcript, mentions: Mentions, cue: CueMention, span: Mention) -> bool:
    """ "spec is two to nine, rod bolts one hundred inch pounds": a cue that had its number goes
    over no pause, however short, to a thing that is measured otherwise."""
    runs = near(mentions.numbers, cue.first, span.first)
    had = [run.last for run in runs if run.last < span.first and _is_had(cue, run.first, run.last)]
    if not had:
        return False
    own, before = (
        _measured(mentions, *ends) for ends in ((span.first, span.last), (had[-1], had[-1] + 1))
    )
    since = max(had[-1], cue.last)
    spans = near(mentions.spans, since, span.first)
    named = [s.first for s in spans if s.kind in NEW and since < s.first and s.last < span.first]
    paused_before = any(paused(transcript, since, thing, seconds=SHORT_PAUSE) for thing in named)
    return paused_before and bool(own) and own.isdisjoint(before)


def _measured(mentions: Mentions, first: int, last: int) -> set[str]:
    """What the units that begin at some words can measure."""
    units = [unit for unit in near(mentions.of("unit"), first, last) if first <= unit.first <= last]
    return {quantity for unit in units for words in unit.units for quantity in words.quantities}


def _is_had(cue: CueMention, first: int, last: int) -> bool:
    """Whether a number stands where a cue can mean it: behind it, or just before."""
    return first > cue.last or 0 < cue.first - last <= JUST_BEFORE


def holds(transcript: Transcript, mentions: Mentions, cue: CueMention, span: Mention) -> bool:
    """Whether a cue that reaches a span settles what it is. It is but a hint over a pause, however
    short; to a second number that other words than those of a list part from its first; and to a
    number before it, if another follows ("nine six, minimum nine"). In the notes of train nearly
    every second such number was a reading."""
    if not cue.cue.firm:
        return False
    behind = cue.first > span.last
    first, last = (span.last, cue.first) if behind else (cue.last, span.first)
    if behind:
        return not paused(transcript, first, last, seconds=SHORT_PAUSE) and not _begins(
            mentions, cue
        )
    runs = near(mentions.numbers, first, last)
    had = [run.last for run in runs if first < run.first and run.last < last]
    since = had[-1] if had else first
    if paused(transcript, since, last, seconds=SHORT_PAUSE):
        return False
    return not had or _goes_on(transcript, mentions, since + 1, last)


def _goes_on(transcript: Transcript, mentions: Mentions, first: int, end: int) -> bool:
    """Whether nothing but units, places and words of a list stand between two numbers."""
    spans = [s for s in near(mentions.spans, first, end) if s.kind in ("unit", "position")]
    known = {at for span in spans for at in range(span.first, span.last + 1)}
    listing = load().small_words["listing"]
    return all(at in known or transcript.words[at].text in listing for at in range(first, end))


def _begins(mentions: Mentions, cue: CueMention) -> bool:
    """Whether a number follows a cue that may look forward too."""
    runs = near(mentions.numbers, cue.last, cue.last)
    return any(0 < run.first - cue.last <= NEXT for run in runs)


def _begun_anew(mentions: Mentions, cue: CueMention, span: Mention) -> bool:
    """ "down to two mil, book says three minimum": the minimum belongs to what the book says, not
    to the number before it."""
    between = near(mentions.cues_of(*ROLE_CUES), span.last, cue.first)
    return any(
        span.last < other.first and other.last < cue.first
        for other in between
        if other.cue.direction == "forward"
    )


def _of_the_next(mentions: Mentions, cue: CueMention) -> bool:
    """ "thirty five psi cold now fifty five": such a cue belongs to the number that follows it, but
    for one that has a cue of its own: "nine mil now, was nearer thirty"."""
    if cue.cue.category not in STATES:
        return False
    own = near(mentions.cues_of(*STATES), cue.last, cue.last + NEXT)
    runs = near(mentions.numbers, cue.last, cue.last)
    return any(
        0 < run.first - cue.last <= NEXT
        and not any(cue.last < other.first and other.last < run.first for other in own)
        for run in runs
    )


def nearest(
    transcript: Transcript, mentions: Mentions, cues: Iterable[CueMention], span: Mention
) -> CueMention | None:
    """The nearest cue that governs a span; of two as near, the one said before it."""
    found = [cue for cue in cues if reaches(transcript, mentions, cue, span)]
    return min(found, key=lambda c: (distance(c, span.first, span.last), c.first), default=None)


def fits(targets: str, unit: Mention | None) -> bool:
    """Whether a cue with these targets can mean a number with that unit."""
    quantities = {q for words in unit.units for q in words.quantities} if unit else set()
    return {
        "any": True,
        "base": False,
        "unit": unit is not None,
        "bare": unit is None,
        "sized": "length" in quantities,
        "length": unit is None or "length" in quantities,
        "dated": False,
        "time": unit is None or "time" in quantities,
    }[targets]


def fitting(
    mentions: Mentions, span: Mention, unit: Mention | None, categories: tuple[str, ...]
) -> Iterator[CueMention]:
    """The cues of some categories in the neighbourhood that can mean a number with that unit."""
    for cue in near(mentions.cues_of(*categories), span.first, span.last):
        if fits(cue.cue.targets, unit):
            yield cue
