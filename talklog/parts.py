"""Step 5c: parts: what was fitted, ordered, needed or found missing. Knows no bands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from talklog.beside import lacked
from talklog.context import Context
from talklog.mentions import Mention, near
from talklog.notes import NOT_SAID, Part
from talklog.nouns import singular
from talklog.others import names_alternative
from talklog.part_rules.counted import how_many
from talklog.part_rules.cued import NONE, PART_REACH, Cued, cued, cued_word
from talklog.roled import RoledNumber
from talklog.scopes import SHORT_PAUSE, paused
from talklog.seeing.kinds import Fate
from talklog.undone import past_part
from talklog.vocabulary import load
from talklog.word_kinds import PART_CUES

WORKED = ("fitted", "reused")  # fates that come of work
# Probabilities, chosen on the notes of dev and check.
FATED = 0.5  # of a word to be a part whose fate is told, whatever a rule says
FITTED = 0.6  # of a part to be fitted, over that of being a part, where no work on it was told
TAKEN = 3  # words from "robbed" to the part
AT_HAND = 4  # words from a part to "off the shelf", and over its own words
BEHIND = 2  # words from a part to the verb of what was done to it


@dataclass(frozen=True, slots=True)
class Told:
    """What became of a part, and the words ``first..last`` that tell it; ``name`` are those that
    name it or mean it."""

    thing: Mention
    status: str
    first: int
    last: int
    name: range


def parts(context: Context, counted: list[RoledNumber]) -> Iterator[Part]:
    """Every part whose fate was said, with how many there are."""
    for told in _fates(context):
        found = how_many(context, told.thing, told.name, counted)
        number, first, last = found or (None, told.first, told.last)
        first, last = min(first, told.first), max(last, told.last)
        yield Part(told.thing.name, number, told.status, first, last)


def _fates(context: Context) -> list[Told]:
    """What the trained reader understands, and what a cue says of things that it at least may take
    for a part. The cue knows better; but that a part was fitted it says only where work was done on
    it."""
    said = [(thing, cue) for thing, cue in _said(context) if _may_be_part(context, thing)]
    sure = {thing: _of_cue(thing, cue) for thing, cue in said if _is_sure(context, thing, cue)}
    if context.seen is None:
        return list(sure.values())
    denied = {thing for thing, cue in said if cue.status in (None, NONE)}
    lost = {thing: _of_cue(thing, cue) for thing, cue in said if cue.status == "missing"}
    read = {told.thing: told for told in _read_fates(context) if told.thing not in denied}
    return sorted((lost | read | sure).values(), key=lambda told: told.first)


def _said(context: Context) -> Iterator[tuple[Mention, Cued]]:
    """Every thing of which a cue says what became of it."""
    for thing in context.components:
        found = cued(context, thing)
        if found is not None:
            yield thing, found


def _of_cue(thing: Mention, said: Cued) -> Told:
    beside = abs(said.cue.first - thing.last) <= PART_REACH
    first, last = (said.cue.first, said.cue.last) if beside else (thing.first, thing.last)
    words = range(thing.first, thing.last + 1)
    return Told(thing, said.status, min(first, thing.first), max(last, thing.last), words)


def _may_be_part(context: Context, thing: Mention) -> bool:
    if context.seen is None:
        return True
    return any(thing.first <= fate.at <= thing.last for fate in context.seen.fates)


def _is_sure(context: Context, thing: Mention, said: Cued) -> bool:
    """Whether a cue is to be believed: that a part was fitted is said better by the work."""
    if said.status in (None, NONE) or context.seen is None:
        return said.status not in (None, NONE)
    worked = any(
        work.thing == thing and work.done and not _rearranges(work.verb)
        for work in context.seen.works
    )
    return worked if said.status == "fitted" else not worked or _outweighs(said)


def _outweighs(said: Cued) -> bool:
    """Whether a cue says more than work on the part: what was missing may have been fitted, and
    so may one of a list of which the others were ordered."""
    return said.own and said.status != "missing"


# ---- what the trained reader understands ---------------------------------------------------------


def _read_fates(context: Context) -> Iterator[Told]:
    """Parts with what became of them, as the trained reader understands it."""
    for fate in context.seen.fates:
        thing = _thing_of(context, fate)
        status = _status(context, fate, thing)
        if status is not None and not _is_other(context, fate, thing, status):
            named = range(fate.at, fate.at + 1)
            if thing.first <= fate.at <= thing.last:
                named = range(thing.first, thing.last + 1)
            yield Told(thing, status, named[0], named[-1], named)


def _thing_of(context: Context, fate: Fate) -> Mention:
    """The thing that a word names or means, else the word itself."""
    close = near(context.components, fate.at, fate.at)
    thing = next((c for c in close if c.first <= fate.at <= c.last), None)
    word = context.transcript.words[fate.at].text
    stands_in = word in load().small_words["stand_ins"]
    if thing is None and stands_in:
        thing = lacked(context, fate.at) or _faulty(context, fate)
    if thing is not None or fate.thing is not None:
        return thing or fate.thing
    name = NOT_SAID if stands_in else singular(word)
    return Mention("component", name, fate.at, fate.at, base=name)


def _faulty(context: Context, fate: Fate) -> Mention | None:
    """The thing of which the same breath told a state before "one", if the reader's is of another
    breath: "the bearing's had it order one"."""
    if fate.thing is not None and not _parted(context, fate.thing.first, fate.at):
        return None
    told = [state for state in context.seen.states if state.thing and state.last < fate.at]
    own = told[-1].thing if told else None
    return own if own and not _parted(context, own.first, fate.at) else None


def _parted(context: Context, first: int, last: int) -> bool:
    low, high = min(first, last), max(first, last)
    return paused(context.transcript, low, high, seconds=SHORT_PAUSE)


def _status(context: Context, fate: Fate, thing: Mention) -> str | None:
    """What became of a part, ``None`` if that is not certain: by a cue beside a word that only
    means it, else as the reader understands it."""
    named = any(c.first <= fate.at <= c.last for c in near(context.components, fate.at, fate.at))
    said = None if named else _cued_word(context, fate.at)
    if said is not None and said.status != "fitted":
        return said.status if said.status != NONE else None
    if fate.chance <= FATED:
        return None
    if fate.status == "on_order" and not _ordered_near(context, fate.at):
        return "needed"
    return _fitted(context, fate, thing) if fate.status == "fitted" else fate.status


def _cued_word(context: Context, at: int) -> Cued | None:
    """What a cue says of a word that stands for a part, and is not said of the thing behind it:
    "ordered two", but not "ordered two of the seals"."""
    words, close = context.transcript, near(context.components, at, at)
    behind = [c.first for c in close if 0 < c.first - at <= PART_REACH]
    own = any(not paused(words, at, first, seconds=SHORT_PAUSE) for first in behind)
    denied = at and words.words[at - 1].text in load().small_words["denials"]
    return None if own or denied else cued_word(context, at)


def _ordered_near(context: Context, at: int) -> bool:
    """Whether the same breath says that something is on order."""
    cues = near(context.mentions.cues_of("part_on_order"), at, at)
    spans = ((min(cue.first, at), max(cue.first, at)) for cue in cues)
    words = context.transcript
    return any(not paused(words, *span, seconds=SHORT_PAUSE) for span in spans)


def _fitted(context: Context, fate: Fate, thing: Mention) -> str:
    """Fitted only if work was done on it, it is called new, or the reader is sure, for a part that
    is fitted is relied upon."""
    behind = context.transcript.words[thing.last + 1 : thing.last + 2]
    called_new = any(word.text == "new" and not word.pause_before for word in behind)
    sure = fate.chances["fitted"] >= FITTED * fate.chance
    return "fitted" if sure or called_new or _is_worked(context, fate, thing) else "needed"


def _is_worked(context: Context, fate: Fate, thing: Mention) -> bool:
    """Whether work was done on a part, or is told just behind it: "new ones fitted"."""
    works = [work for work in context.seen.works if work.done and not _rearranges(work.verb)]
    if _is_at_hand(context, fate.at):
        return True
    behind = (
        0 < work.first - fate.at <= BEHIND and not context.paused(fate.at, work.first)
        for work in works
    )
    return any(work.thing in (thing, fate.thing) for work in works) or any(behind)


def _rearranges(verb: str) -> bool:
    """Whether work only puts a part elsewhere: "swapped the tyres round"."""
    return verb in load().rearranging


def _is_at_hand(context: Context, at: int) -> bool:
    """Whether a part was taken from somewhere to be fitted: "robbed one off the spare", "new
    heater off the shelf"."""
    words = [word.text for word in context.transcript.words]
    low, high = max(0, at - TAKEN), min(len(words), at + AT_HAND)
    taken = any(words[place] in load().small_words["taken_over"] for place in range(low, at))
    from_ = (
        " ".join(words[place : place + size]) in load().small_words["at_hand"]
        for place in range(at + 1, high)
        for size in (2, 3)
    )
    if not taken and load().small_words["having"] & set(words[low:at]):
        return False
    within = not _parted(context, low, at) if taken else not _parted(context, at, high - 1)
    return (taken or any(from_)) and within


def _is_other(context: Context, fate: Fate, thing: Mention, status: str) -> bool:
    """Whether other words say that it is none of these parts: only named, of the past, worn out,
    only taken away."""
    if status in WORKED and names_alternative(context, fate.at):
        return True
    if status in WORKED and not _worked_near(context, fate.at):
        return not _is_at_hand(context, fate.at)
    if status == "missing":
        return _is_worn_out(context, fate)
    if status != "fitted":
        return False
    return past_part(context, Mention("", "", fate.at, fate.at)) or (
        thing.first <= fate.at <= thing.last and _is_only_removed(context, thing)
    )


def _is_only_removed(context: Context, thing: Mention) -> bool:
    """Whether all that was done to a part is that it was taken away: "took out a shim"."""
    verbs = {work.verb for work in context.seen.works if work.done and work.thing == thing}
    return bool(verbs) and verbs <= load().removing | load().rearranging


def _is_worn_out(context: Context, fate: Fate) -> bool:
    """Whether a part that wears is but worn out, and not missing: "seal gone"."""
    words = context.transcript.words[fate.at : fate.at + 1 + PART_REACH]
    wears = fate.thing is not None and fate.thing.base in load().wearing
    return wears and any(word.text in load().small_words["gone"] for word in words)


def _worked_near(context: Context, at: int) -> bool:
    """Whether any work was told in one breath with a word: a fuse that is only named was not
    fitted."""
    cues = context.mentions.cues_of(*PART_CUES)
    spans = (*context.seen.works, *context.mentions.of("action"), *cues)
    return any(not context.paused(min(own.first, at), max(own.first, at)) for own in spans)
