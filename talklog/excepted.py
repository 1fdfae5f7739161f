"""Step 5b: what work was not done to: "all greased except the bottom left". Knows no bands."""

from __future__ import annotations

from collections.abc import Sequence

from talklog.context import Context
from talklog.mentions import Mention, near
from talklog.notes import Action
from talklog.scopes import SHORT_PAUSE
from talklog.vocabulary import load

SOON = 3  # words from work to "except"
REACH = 4  # words from there to what is excepted


def excepted(context: Context, done: Action) -> Action | None:
    """The work that an exception behind work that was done leaves undone, in one breath with it and
    the last that is said of it: "except the one that was seized, i drilled that" is none."""
    cue = _cue(context, done.last)
    if cue is None:
        return None
    place, thing = _place(context, cue[1]), _near(context, context.components, cue[1])
    last = max((span.last for span in (place, thing) if span is not None), default=None)
    if last is None or not _ends(context, last):
        return None
    name = place.name if place else None
    return Action(done.verb, thing.name if thing else done.component, name, False, cue[0], last)


def _cue(context: Context, last: int) -> tuple[int, int] | None:
    """The words of an exception soon behind a word."""
    words = [word.text for word in context.transcript.words]
    for first in range(last + 1, min(last + 1 + SOON, len(words))):
        if _breaks(context, first):
            return None
        own = next(
            (p for p in load().exceptions if tuple(words[first : first + len(p)]) == p), None
        )
        if own is not None:
            return first, first + len(own) - 1
    return None


def _place(context: Context, cue: int) -> Mention | None:
    said = _near(context, _joined(near(context.mentions.of("position"), cue, cue)), cue)
    numbered = [
        Mention("position", str(item.number.value), item.first, item.last)
        for item in near(context.roled, cue, cue)
        if item.role == "position"
    ]
    return said or _near(context, numbered, cue)


def _joined(places: Sequence[Mention]) -> list[Mention]:
    """Places side by side as one: "bottom" + "left"."""
    found: list[Mention] = []
    for place in places:
        if found and found[-1].last + 1 == place.first:
            before = found.pop()
            name = f"{before.name} {place.name}"
            place = Mention("position", name, before.first, place.last)
        found.append(place)
    return found


def _near(context: Context, mentions: Sequence[Mention], cue: int) -> Mention | None:
    """The first of some mentions that is said soon behind an exception, in the same breath."""
    for mention in near(mentions, cue, cue):
        if 0 < mention.first - cue <= REACH:
            parted = any(_breaks(context, at) for at in range(cue + 1, mention.last + 1))
            return None if parted else mention
    return None


def _ends(context: Context, last: int) -> bool:
    """Whether nothing more is said in the breath, but for why it is excepted: "the bottom left one
    which is seized"."""
    words, at = context.transcript.words, last + 1
    while at < len(words) and not _breaks(context, at):
        if words[at].text in load().small_words["reasons"]:
            return True
        if words[at].text not in load().small_words["no_names"]:
            return False
        at += 1
    return True


def _breaks(context: Context, at: int) -> bool:
    return context.transcript.words[at].pause_before >= SHORT_PAUSE
