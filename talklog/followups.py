"""Step 5d: what is still to do and when. Knows no bands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from talklog.actions import SAME_FORM
from talklog.context import Context
from talklog.denied import not_done
from talklog.mentions import CueMention, Mention, Span, near, overlap
from talklog.notes import Due, FollowUp
from talklog.role_rules.cued import DISTANCES, HOURS
from talklog.roled import MEASURING, RoledNumber
from talklog.scopes import LONG_PAUSE, SHORT_PAUSE, paused
from talklog.seeing.kinds import Told
from talklog.transcript import Transcript
from talklog.undone import is_past
from talklog.verbs import plain_form
from talklog.vocabulary import load

GAP = 3  # words from one stretch of work to come to the next that is of the same
WORK_REACH = 8  # words between the work and the time: "grease the king pins again next week"
DUE = "due"
NO_TIMES = (*MEASURING, "position", "meter")  # roles of numbers that say no time to come
NAME = 4  # words of the name of what is due at most
DAY_OF_WORK = 5  # words from work to the day on which it was done: "changed the oil on monday"
JUST = 3  # words from work to come to the time that is said behind it
TAIL = 5  # words of a time at the end of work to come, at most, with the word before it
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
    """Every follow-up in the speaker's words, with its component and due, in order."""
    found: list[FollowUp] = []
    ways = (
        _by_due(context),
        _by_cue(context, due_numbers),
        _by_time(context),
        _by_reader(context),
    )
    for some in ways:
        found += [one for one in some if not any(overlap(one, other) for other in found)]
    yield from sorted(found, key=lambda later: later.first)


def _by_reader(context: Context) -> Iterator[FollowUp]:
    """What the trained reader takes for work to come, with the time said in it or right behind."""
    whens = _times(context)
    for later in _whole(context):
        days = range(max(1, later.first), min(later.last + JUST, len(context.transcript.words)))
        if _is_meter(context, later) or any(_is_past_day(context, at) for at in days):
            continue
        when = next((w for w in whens if later.first <= w.first <= later.last + JUST), None)
        when = when or _said_within(context, later)
        when = _When(*_either(context, when)) if when else None
        if when and _is_but_a_time(context, later, when):
            continue
        last = max(later.last, when.last) if when else later.last
        said = context.transcript.heard(later.first, last)
        name = later.thing.name if later.thing else None
        due = when.due if when else _event(said) or _tail(context, later)
        if due is None and _says_nothing(context, later):
            continue
        yield FollowUp(said, name, due, later.first, last)


def _says_nothing(context: Context, later: Told) -> bool:
    """Whether words only name a thing, or begin to say when: "belt", "next", "every"."""
    named = (c for c in near(context.components, later.first, later.last) if overlap(c, later))
    known = {at for c in named for at in range(c.first, c.last + 1)}
    small = load().small_words
    empty = small["before_names"] | small["never_last"] | load().said_tails | load().opening
    words = context.transcript.words
    return all(at in known or words[at].text in empty for at in range(later.first, later.last + 1))


def _whole(context: Context) -> Iterator[Told]:
    """The stretches of work to come, those as one between which only a word or two of the same
    breath is left out."""
    held: Told | None = None
    for later in context.seen.laters if context.seen is not None else ():
        if held is not None and _goes_on(context, held, later):
            held = replace(held, last=later.last, thing=later.thing or held.thing)
            continue
        if held is not None:
            yield held
        held = later
    if held is not None:
        yield held


def _goes_on(context: Context, held: Told, later: Told) -> bool:
    parted = paused(context.transcript, held.last, later.first, seconds=SHORT_PAUSE)
    return later.first - held.last <= GAP and not parted


def _is_but_a_time(context: Context, later: Span, when: _When) -> bool:
    """Whether work to come only says how long something is good: "until june next year"."""
    lasting = load().lasting & set(context.between(later.first - 3, later.first + 1))
    return bool(lasting) and when.first <= later.first + 1 and later.last <= when.last


def _said_within(context: Context, later: Span) -> _When | None:
    """A distance, hours or a stretch of time within work to come: "fifty hours ... then it's due",
    "leave it another month"."""
    for item in near(context.roled, later.first, later.last):
        due = due_of(context.transcript, item) if item.role not in NO_TIMES else None
        if due is not None and later.first <= item.first <= later.last:
            return _When(item.first, item.last + (item.unit is None), due)
    words = context.transcript.words
    for at in range(later.first, later.last):
        stretch = load().stretches.get(f"{words[at].text} {words[at + 1].text}")
        if stretch is not None:
            return _When(at, at + 1, Due(duration=stretch))
    return None


def _tail(context: Context, later: Span) -> Due | None:
    """A time in the speaker's words at the end of work to come: "renew it at the haul out"."""
    words = [word.text for word in context.transcript.words[later.first : later.last + 1]]
    leads = [at for at in range(max(1, len(words) - TAIL), len(words)) if words[at] in load().tails]
    for at in leads:
        behind = words[at + 1 :]
        timely = (
            bool(load().occasions & set(behind)) and " ".join(words[at:]) not in load().no_tails
        )
        own = words[at] in load().sure_tails and not _names_a_thing(context, later, at)
        if behind and (timely or own):
            said = words[at:] if words[at] in load().said_tails else behind
            article = said[0] in ("the", "a")
            return Due(event=" ".join(said[article:]))
    return None


def _names_a_thing(context: Context, later: Span, at: int) -> bool:
    """Whether a thing is named within work to come from its word ``at`` on."""
    close = near(context.components, later.last, later.last)
    return any(later.first + at <= c.last and c.first <= later.last for c in close)


def _is_meter(context: Context, later: Span) -> bool:
    """Whether it is, or shares words with, a reading of the machine's meter, or is but a part of
    another reading: that is no work."""
    return any(
        (n.role == "meter" and overlap(n, later))
        or (n.role in MEASURING and n.first <= later.first and later.last <= n.last)
        for n in near(context.roled, later.first, later.last)
    )


def _by_cue(context: Context, due_numbers: list[RoledNumber]) -> Iterator[FollowUp]:
    """ "check again in fifty hours": a cue says that it is still to do."""
    end = -1
    for cue in context.mentions.cues_of("follow_up"):
        if cue.first <= end:
            continue
        start, end = _beginning(context, cue), _reach(context, cue)
        number = next((n for n in due_numbers if cue.last < n.number.first <= end), None)
        due = due_of(context.transcript, number) if number else None
        if number is not None:
            end = max(number.last, min(end, number.last + 1))
            _, last, due = _either(context, _When(number.first, end, due))
            end = max(end, last)
        made = _made(context, start, end, due)
        if made.due is not None or cue.cue.targets != "dated":
            yield made


def _either(context: Context, when: _When) -> tuple[int, int, Due]:
    """ "in the spring or fifty hours", "at seventy thousand or six years": both, as they were
    said."""
    words = context.transcript.words
    spans = [*_times(context), *near(context.roled, when.first, when.last)]
    for span in spans:
        before, behind = span.last == when.first - 2, span.first in (when.last + 1, when.last + 2)
        joint = words[when.first - 1] if before else words[span.first - 1]
        if (before or behind) and joint.text in load().small_words["rivals"]:
            first, last = min(span.first, when.first), max(span.last, when.last)
            last += words[last + 1].text in load().durations if last + 1 < len(words) else 0
            return first, last, Due(event=context.transcript.heard(first, last))
    return when.first, when.last, when.due


def _by_due(context: Context) -> Iterator[FollowUp]:
    """ "mot due march", "inspection due next week": what is due, and when."""
    words = [word.text for word in context.transcript.words]
    for when in _times(context):
        at = when.first if words[when.first] == DUE else when.first - 1
        start = _name_before(context, at) if at > 0 and words[at] == DUE else None
        if start is not None:
            said = context.transcript.heard(start, when.last)
            close = near(context.components, start, when.last)
            thing = next((c for c in close if start <= c.first <= when.last), None)
            yield FollowUp(said, thing.name if thing else None, when.due, start, when.last)


def _name_before(context: Context, at: int) -> int | None:
    """Where the name of what is due begins: in one breath, and not over a number or a verb."""
    words, small = context.transcript.words, load().small_words
    stops = [*near(context.mentions.cues_of("terminator"), at, at), *near(context.roled, at, at)]
    stopped = {place for stop in stops for place in range(stop.first, stop.last + 1)}
    start = at
    while start and at - start < NAME and words[start].pause_before < SHORT_PAUSE:
        if start - 1 in stopped or words[start - 1].text in small["never_last"]:
            break
        start -= 1
    return start if start < at else None


def _by_time(context: Context) -> Iterator[FollowUp]:
    """ "grease it tomorrow", "new pads before winter": a time to come beside work to do."""
    ended = -1
    for when in _times(context):
        action = _action_before(context, when, after=ended)
        if action is None or _is_routine(context, when, action):
            continue
        ended = when.last
        yield _made(context, action.first, when.last, when.due)


def _is_routine(context: Context, when: _When, action: Mention) -> bool:
    """Whether it is what an owner does: "grease it weekly"; "check it weekly" is still to do."""
    often = context.transcript.words[when.first].text in load().stretches
    return often and action.name not in load().checking


@dataclass(frozen=True, slots=True)
class _When:
    """A time to come at words ``first..last``."""

    first: int
    last: int
    due: Due


def _times(context: Context) -> list[_When]:
    """Events of the calendar and of the shop, and "in two weeks"."""
    words = [word.text for word in context.transcript.words]
    found = []
    for at in range(len(words)):
        close = _events().get(words[at], ())
        event = next((e for e in close if tuple(words[at : at + len(e)]) == e), None)
        gone = at > 0 and (words[at - 1] in load().since or _is_past_day(context, at))
        if event and not gone and not (found and at <= found[-1].last):
            found.append(_When(at, at + len(event) - 1, Due(event=_named_time(event))))
        elif words[at] in load().stretches and _ends(context, at):
            found.append(_When(at, at, Due(duration=load().stretches[words[at]])))
    for item in context.roled:
        due = (
            due_of(context.transcript, item)
            if item.first and words[item.first - 1] == "in"
            else None
        )
        if due is not None and item.role in ("time_or_date", "follow_up"):
            last = item.last + (item.unit is None)
            found.append(_When(item.first - 1, last, due))
    return sorted(found, key=lambda when: when.first)


def _is_past_day(context: Context, at: int) -> bool:
    """ "i changed the oil on monday": the day of work that is done."""
    words = context.transcript.words
    if words[at - 1].text != "on" or words[at].text not in _events():
        return False
    done = [
        verb
        for verb in near(context.mentions.of("action"), at, at)
        if 0 < at - verb.last <= DAY_OF_WORK
        and not paused(context.transcript, verb.last, at, seconds=SHORT_PAUSE)
    ]
    return bool(done) and words[done[-1].first].text != done[-1].name and is_past(context, done[-1])


def _ends(context: Context, at: int) -> bool:
    """Whether the speaker paused behind a word: "check it weekly is what i said" tells nothing."""
    words = context.transcript.words
    return at + 1 == len(words) or words[at + 1].pause_before >= SHORT_PAUSE


def _named_time(event: tuple[str, ...]) -> str:
    """ "due october" -> "october", "tomorrow's job" -> "tomorrow"."""
    return " ".join(event[event[0] == DUE :]).removesuffix("'s job")


@lru_cache(maxsize=1)
def _events() -> dict[str, list[tuple[str, ...]]]:
    """First word -> events, the longest first."""
    found: dict[str, list[tuple[str, ...]]] = {}
    for event in load().events:
        found.setdefault(event[0], []).append(event)
    return found


def _action_before(context: Context, when: _When, *, after: int) -> Mention | None:
    """The work to do that a time belongs to: a verb in its base form or behind "need to", and in
    one breath with the time. What was done is over: "changed it monday" is no follow-up."""
    close = near(context.mentions.of("action"), when.first, when.first)
    before = [a for a in close if after < a.first and 0 < when.first - a.last <= WORK_REACH]
    for action in reversed(before):
        if context.paused(action.last, when.first):
            return None
        if not_done(context, action.first):
            return action
        plain = context.transcript.heard(action.first, action.last) == action.name
        if plain and action.name not in SAME_FORM and not _told_by_name(context, action):
            return action
    return None


def _told_by_name(context: Context, action: Mention) -> bool:
    """ "i change it every monday", "the check valve": no order to anybody."""
    before = context.between(action.first - 2, action.first)
    return bool(before) and before[0] in ("i", "we", "you", "they", "the", "a", "did", "didn't")


def _made(context: Context, start: int, end: int, due: Due | None) -> FollowUp:
    said = context.transcript.heard(start, end)
    cut = _work_ends(context, start, end)
    thing = next((c for c in context.components if start <= c.first and c.last < cut), None)
    if thing is None:
        thing, _ = context.component_of(start)
    due = due or _event(said) or _tail(context, Mention("later", said, start, end))
    return FollowUp(said, thing.name if thing else None, due, start, end)


def _work_ends(context: Context, start: int, end: int) -> int:
    """Where the time begins that work to come is due: "the spring" is no spring there, nor is what
    follows "after" the thing to work on."""
    words = context.transcript.words
    whens = [when.first for when in _times(context) if start < when.first]
    opens = [at for at in range(start + 1, end + 1) if words[at].text in load().opening]
    return min([end + 1, *whens, *opens])


def _event(said: str) -> Due | None:
    """An event that is known by name, else one in the speaker's own words: "when they are due"."""
    events = (" ".join(phrase) for phrase in load().events)
    event = next((event for event in events if _is_to_come(event, said)), None)
    event = event and _named_time(tuple(event.split()))
    if event is None:
        words = said.split()
        opens = next((at for at in range(len(words) - 1) if _opens(words[at:])), None)
        while opens is not None and words[-1] in load().small_words["never_last"]:
            words.pop()
        event = " ".join(words[opens:]) if opens is not None else None
    return Due(event=event) if event else None


def _is_to_come(event: str, said: str) -> bool:
    """Whether a time is said, and is not one of the past: "since tuesday"."""
    before, found, _ = f" {said} ".partition(f" {event} ")
    return bool(found) and not load().since & set(before.split()[-1:])


def _opens(words: Sequence[str]) -> bool:
    """Whether a time of the speaker's own begins: "when", "as soon as"."""
    return any(tuple(words[: len(own)]) == own for own in load().opening_phrases)


def _reach(context: Context, cue: CueMention) -> int:
    """The last word that a cue governs: up to its scope, the next long pause or terminator."""
    words, end = context.transcript.words, cue.last
    stops = {stop.first for stop in near(context.mentions.cues_of("terminator"), end, end)}
    done = {work.first for work in context.seen.works if work.done} if context.seen else set()
    pause = SHORT_PAUSE if cue.cue.targets == "dated" else LONG_PAUSE
    whens = _times(context)
    while end + 1 < len(words) and end - cue.last < cue.cue.scope:
        if words[end + 1].pause_before >= pause or end + 1 in done:
            break
        if words[end + 1].pause_before >= SHORT_PAUSE and _is_dated(context, cue, end, whens):
            break
        if end + 1 in stops and end > cue.last:
            break
        end += 1
    return end


def _is_dated(context: Context, cue: CueMention, end: int, whens: Sequence[_When]) -> bool:
    """Whether a time was said from a cue up to a word, and is not all that was said in that
    breath: "next service | change the belt"."""
    start = cue.first
    while start and context.transcript.words[start].pause_before < SHORT_PAUSE:
        start -= 1
    alone = start == cue.first and end == cue.last
    return not alone and any(cue.first <= when.first and when.last <= end for when in whens)


def _beginning(context: Context, cue: CueMention) -> int:
    """ "check the belt | again in fifty hours": the action just before belongs to it."""
    close = [
        a.first
        for a in near(context.mentions.of("action"), cue.first, cue.last)
        if 0 < cue.first - a.last <= BACK and _is_begun(context, a, cue)
    ]
    own = [
        c.first for c in near(context.components, cue.first, cue.first) if c.last == cue.first - 1
    ]
    parted = context.transcript.words[cue.first].pause_before >= SHORT_PAUSE
    return close[-1] if close else own[-1] if own and not parted else cue.first


def _is_begun(context: Context, action: Mention, cue: CueMention) -> bool:
    """Whether a cue goes on from a verb: over a pause only if it stands right behind that and leans
    on the verb; never from one that is denied ("didn't change it | check again"), nor from the name
    of a thing."""
    words, small = context.transcript.words, load().small_words
    said = words[action.first].text
    denied = action.first and words[action.first - 1].text in small["denials"]
    named = any(overlap(action, c) for c in near(context.components, action.first, action.last))
    if denied or named or plain_form(said) != said:
        return False
    leans = words[cue.first].text in small["leaning"]
    end = cue.first - 1 if leans else cue.first
    parted = paused(context.transcript, action.last, end, seconds=SHORT_PAUSE)
    return not parted and not context.paused(action.last, cue.first)
