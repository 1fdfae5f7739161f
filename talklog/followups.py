"""Step 5d: what is still to do and when, and the warnings a speaker gave. Knows no bands."""

from __future__ import annotations

from collections.abc import Iterator

from talklog.context import Context
from talklog.mentions import CueMention, near
from talklog.notes import Due, FollowUp, SpokenCaution
from talklog.roled import RoledNumber
from talklog.roles import DISTANCES, HOURS
from talklog.scopes import LONG_PAUSE
from talklog.transcript import Transcript
from talklog.vocabulary import load

BACK = 5  # words between an action and the cue that says when: "check the belt | again in"


def due_of(transcript: Transcript, item: RoledNumber) -> Due | None:
    """When: "five hundred miles" -> a distance, "two weeks" -> P2W; ``None`` for anything else."""
    following = transcript.words[item.number.last + 1 : item.number.last + 2]
    letter = load().durations.get(following[0].text) if following else None
    if letter is not None:
        whole = item.number.value == item.number.value.to_integral_value()
        return Due(duration=f"P{int(item.number.value)}{letter}") if whole else None
    if item.unit is not None and item.unit.name in DISTANCES:
        return Due(distance=(item.number.said, item.unit.name))
    if item.unit is not None and item.unit.name in HOURS:
        return Due(hours=item.number.said)
    return None


def follow_ups(context: Context, due_numbers: list[RoledNumber]) -> Iterator[FollowUp]:
    """Every follow-up in the speaker's words, with its component and due."""
    end = -1
    for cue in context.mentions.cues_of("follow_up"):
        if cue.first <= end:
            continue
        start, end = _beginning(context, cue), _reach(context, cue)
        number = next((n for n in due_numbers if cue.last < n.number.first <= end), None)
        if number is not None:
            end = max(number.last, min(end, number.last + 1))
        said = context.transcript.heard(start, end)
        due = due_of(context.transcript, number) if number else _event(said)
        thing = next((c for c in context.components if start <= c.first <= end), None)
        yield FollowUp(said, thing.name if thing else None, due, start, end)


def _event(said: str) -> Due | None:
    events = (" ".join(phrase) for phrase in load().events)
    event = next((event for event in events if f" {event} " in f" {said} "), None)
    return Due(event=event) if event else None


def _reach(context: Context, cue: CueMention) -> int:
    """The last word that a cue governs: up to its scope, the next long pause or terminator."""
    words, end = context.transcript.words, cue.last
    stops = {stop.first for stop in near(context.mentions.cues_of("terminator"), end, end)}
    while end + 1 < len(words) and end - cue.last < cue.cue.scope:
        if words[end + 1].pause_before >= LONG_PAUSE or (end + 1 in stops and end > cue.last):
            break
        end += 1
    return end


def _beginning(context: Context, cue: CueMention) -> int:
    """ "check the belt | again in fifty hours": the action just before belongs to it."""
    close = [
        a.first
        for a in near(context.mentions.of("action"), cue.first, cue.last)
        if 0 < cue.first - a.last <= BACK and not context.paused(a.last, cue.first)
    ]
    return close[-1] if close else cue.first


def spoken_cautions(context: Context) -> Iterator[SpokenCaution]:
    """Every warning, in the speaker's words."""
    end = -1
    for cue in context.mentions.cues_of("caution"):
        if cue.first > end:
            end = _reach(context, cue)
            yield SpokenCaution(context.transcript.heard(cue.first, end), cue.first, end)
