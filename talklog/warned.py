"""Step 5d: the warnings a speaker gave. Knows no bands."""

from __future__ import annotations

from collections.abc import Iterator, Set

from talklog.context import Context
from talklog.mentions import near
from talklog.notes import SpokenCaution
from talklog.scopes import SHORT_PAUSE, paused
from talklog.verbs import may_be_past, plain_form
from talklog.vocabulary import load

LONGEST = 14  # words of a warning behind the words that forbid: nineteen in twenty end before
OPENING = 5  # words from the beginning of a clause to what is forbidden in it, at most
PHRASE = 4  # words of a phrase that forbids, at most: "is not to be"


def spoken_cautions(context: Context) -> Iterator[SpokenCaution]:
    """Every warning, in the speaker's words."""
    end = -1
    for first, begun, scope in sorted([*_by_cue(context), *_forbidden(context)]):
        if first > end:
            end = _reach(context, begun, scope)
            yield SpokenCaution(context.transcript.heard(first, end), first, end)


def _by_cue(context: Context) -> Iterator[tuple[int, int, int]]:
    """ "mind the edge": first word, the word from which it goes on over no pause, and scope. Behind
    the cue itself a speaker may pause: "careful | it is live"."""
    for cue in context.mentions.cues_of("caution"):
        begun = min(cue.last + 1, len(context.transcript.words) - 1)
        yield cue.first, begun, cue.cue.scope


def _forbidden(context: Context) -> Iterator[tuple[int, int, int]]:
    """ "don't run it", "nobody is to start it", "the strap is not to be used"."""
    small = load().small_words
    for at in range(len(context.transcript.words)):
        order, rule = _said(context, at, small["orders"]), _said(context, at, small["forbids"])
        if order is not None and _is_forbidden(context, order) and _is_order(context, at):
            yield at, order, LONGEST
        elif rule is not None and _is_forbidden(context, rule):
            yield _opening(context, at), rule, LONGEST


def _said(context: Context, at: int, phrases: Set[str]) -> int | None:
    """The word behind the longest of some phrases that begins at a word, in the same breath."""
    words = context.transcript.words
    for end in range(min(at + PHRASE, len(words) - 1), at, -1):
        if " ".join(word.text for word in words[at:end]) in phrases:
            return None if paused(context.transcript, at, end, seconds=SHORT_PAUSE) else end
    return None


def _is_forbidden(context: Context, at: int) -> bool:
    """Whether a verb is one of use: "run", "runs", and behind "to be" also "used"."""
    known, word = load().small_words["forbidden"], context.transcript.words[at].text
    before = context.transcript.words[at - 1].text
    if before == "be":
        return may_be_past(word) and not word.endswith("ing") and plain_form(word) in known
    others = {word[:-1], word[:-2], f"{word[:-3]}y"} if word.endswith("s") else set()
    return word in known or (before in load().small_words["people"] and bool(others & known))


def _is_order(context: Context, at: int) -> bool:
    """Not "i don't use it", nor "the doors don't open": these tell, and warn of nothing."""
    if not at or context.transcript.words[at].pause_before >= SHORT_PAUSE:
        return True
    before = context.transcript.words[at - 1].text
    many = before.endswith("s") and not before.endswith("'s")
    return before not in load().small_words["tellers"] and not many


def _opening(context: Context, at: int) -> int:
    """Where the clause begins whose thing is forbidden: "the strap is not to be used"."""
    words, first = context.transcript.words, at
    while first and at - first < OPENING and words[first].pause_before < SHORT_PAUSE:
        if words[first - 1].text in load().small_words["never_last"] - {"the", "is"}:
            break
        first -= 1
    return first


def _reach(context: Context, begun: int, scope: int) -> int:
    """The last word of a warning: up to the next pause, terminator, or its scope. A terminator at
    the end of a clause is but its object: "drive this one"."""
    words, end = context.transcript.words, begun
    close = near(context.mentions.cues_of("terminator"), end, end)
    stops = {stop.first for stop in close if not _is_last(context, stop.last)}
    while end + 1 < len(words) and end - begun < scope and end + 1 not in stops:
        if words[end + 1].pause_before >= SHORT_PAUSE:
            break
        end += 1
    return end


def _is_last(context: Context, at: int) -> bool:
    """Whether a word is the last of its clause."""
    behind = context.transcript.words[at + 1 : at + 2]
    return not behind or behind[0].pause_before >= SHORT_PAUSE
