"""Step 5b: verbs that tell no work of this job: of others, taken back, or of what a thing did.
Knows no bands."""

from __future__ import annotations

from collections.abc import Sequence

from talklog.context import Context
from talklog.mentions import Span, near
from talklog.scopes import SHORT_PAUSE, paused
from talklog.verbs import may_be_past
from talklog.vocabulary import load
from talklog.word_kinds import Phrase

BEFORE = 8  # words before a verb among which its subject is looked for
ALTERNATIVE = 5  # words before a part among which "rather than" makes it one that was not fitted
BY = 4  # words from a verb to the "by" of "overfilled by the last owner"
SOON = 4  # words from work to the words that take it back
BEHIND = 3  # words from a verb to the words that make it no work: "took the stem with it"
SOON_OTHER = 2  # words from words that correct to the verb that is meant: "no i mean i cut it"
SHORTENED = ("'s", "'d", "'ve")  # "somebody's", "they'd", "they've"


def is_of_others(context: Context, span: Span) -> bool:
    """Whether somebody else did it: "somebody had drilled it", "fitted by the last owner"."""
    return _other_before(context, span.first) or _other_behind(context, span.last)


def is_taken_back(context: Context, span: Span) -> bool:
    """ "took two links out no that won't do", "put it back no i tell a lie put a new one in"."""
    return _follows(context, span.last, load().taken_back, SOON) or _is_corrected(context, span)


def _is_corrected(context: Context, span: Span) -> bool:
    """Whether work is corrected by other work in the same breath; a value is not."""
    works = context.seen.works if context.seen else context.mentions.of("action")
    works = [work for work in works if not is_alternative(context, work)]
    for cue in near(context.mentions.cues_of("superseded"), span.last, span.last):
        soon = 0 < cue.first - span.last <= SOON
        other = any(0 < work.first - cue.last <= SOON_OTHER for work in works)
        if soon and other and not _is_parted(context, span.last, cue.last + 1):
            return True
    return False


def is_alternative(context: Context, span: Span) -> bool:
    """Whether something else was done: "turned them round rather than replaced them"."""
    said = _without_auxiliaries(_said_before(context, span.first))
    return any(tuple(said[-len(own) :]) == own for own in load().alternatives)


def is_of_nothing(context: Context, span: Span) -> bool:
    """ "nipped nothing up": but not "changed nothing but the gasket", nor "shaft turned nothing
    else found", where the thing stands before the verb."""
    words = _said_behind(context, span.last, 2)
    close = near(context.components, span.first, span.first)
    if not words or words[0] not in load().small_words["nothing"]:
        return False
    own = any(c.last == span.first - 1 for c in close)
    return not own and not any(_begins(words[1:], p[:1]) for p in load().exceptions)


def names_alternative(context: Context, at: int) -> bool:
    """Whether a word names what was not taken: "rather than fitting new ones"."""
    said = _said_before(context, at)[-ALTERNATIVE:]
    return any(
        _begins(said[place:], own) for place in range(len(said)) for own in load().alternatives
    )


def is_makeshift(context: Context, span: Span) -> bool:
    """ "grease it for now": done, until it is done better."""
    return _follows(context, span.last, load().makeshift, SOON)


def is_of_itself(context: Context, span: Span, verb: str) -> bool:
    """Whether a thing did it without anybody: "nut had backed off", "took the stem with it"."""
    if _follows(context, span.last, load().effects.get(verb, ()), BEHIND):
        return True
    said = _said_before(context, span.first)
    own = _without_auxiliaries(said)
    last = span.first - 1 - (len(said) - len(own))
    close = near(context.components, last, last)
    return verb in load().of_themselves and bool(own) and any(c.last == last for c in close)


def _other_before(context: Context, first: int) -> bool:
    if context.transcript.words[first].text in load().moving:
        return False
    said = _subject(_said_before(context, first))
    return any(tuple(said[-len(own) :]) == own for own in load().others)


def _subject(said: list[str]) -> list[str]:
    """The words before a verb up to the end of its subject: without "had" and "drilled and"."""
    joins = load().small_words["joins"]
    said = _without_auxiliaries(said)
    while len(said) > 1 and said[-1] in joins and may_be_past(said[-2]):
        said = _without_auxiliaries(said[:-2])
    return [*said[:-1], _unshortened(said[-1])] if said else said


def _without_auxiliaries(said: list[str]) -> list[str]:
    while said and said[-1] in load().auxiliaries:
        said = said[:-1]
    return said


def _unshortened(word: str) -> str:
    """ "somebody's" -> "somebody"."""
    ending = next((end for end in SHORTENED if word.endswith(end)), "")
    return word.removesuffix(ending)


def _other_behind(context: Context, last: int) -> bool:
    """Whether "by" and somebody else are said behind a verb, with or without an article."""
    words = _said_behind(context, last, BY + max(map(len, load().others)))
    for at, word in enumerate(words[:BY]):
        if word == "by" and any(_begins(words[at + 1 :], own) for own in load().others):
            return True
    return False


def _begins(words: Sequence[str], own: Phrase) -> bool:
    return tuple(words[: len(own)]) == own


def _follows(context: Context, last: int, phrases: Sequence[Phrase], within: int) -> bool:
    """Whether one of some phrases begins within so many words behind a word, in one breath."""
    if not phrases:
        return False
    words = _said_behind(context, last, within + max(map(len, phrases)))
    return any(_begins(words[at:], own) for at in range(within) for own in phrases)


def _is_parted(context: Context, first: int, last: int) -> bool:
    return paused(context.transcript, first, last, seconds=SHORT_PAUSE)


def _said_before(context: Context, first: int) -> list[str]:
    """The words before a word in the same breath."""
    words, start = context.transcript.words, first
    while start and first - start < BEFORE and words[start].pause_before < SHORT_PAUSE:
        start -= 1
    return [word.text for word in words[start:first]]


def _said_behind(context: Context, last: int, many: int) -> list[str]:
    """At most so many words behind a word in the same breath."""
    said = []
    for word in context.transcript.words[last + 1 : last + 1 + many]:
        if word.pause_before >= SHORT_PAUSE:
            break
        said.append(word.text)
    return said
