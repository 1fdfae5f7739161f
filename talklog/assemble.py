"""Step 5: roles and mentions -> readings, things set aside, actions, parts, findings, follow-ups.

``understand`` runs steps 3 to 5. Every number of a note ends up somewhere: as a reading, set aside,
as a place, a part's quantity, a follow-up's due, the meter, or among what is unsure.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from talklog.actions import actions
from talklog.confidence import with_confidence
from talklog.context import Context
from talklog.distrust import with_distrust
from talklog.findings import findings
from talklog.followups import due_of, follow_ups
from talklog.glued import with_glued
from talklog.handsfree import DROP
from talklog.heads import with_heads
from talklog.likened import likened
from talklog.mentions import Mentions, find_mentions
from talklog.notes import Meter, Notes, Reading, SetAside, Unsure
from talklog.parts import parts
from talklog.perhaps import perhaps
from talklog.presumed import with_presumed
from talklog.readings import make_reading
from talklog.relative import with_relative
from talklog.rivals import DOUBT, LIMIT, with_rivals
from talklog.role_rules.cued import METERS
from talklog.roled import ARTICLE, MEASURING, RoledNumber
from talklog.seeing.kinds import Seen
from talklog.sequels import settle_sequels
from talklog.shapes import written_sizes
from talklog.sureness import judged
from talklog.taken_up import with_taken_up
from talklog.trained import final_roles
from talklog.transcript import Transcript
from talklog.undecided import undecided
from talklog.warned import spoken_cautions


def understand(transcript: Transcript) -> Notes:
    """Everything a note says. "rear tyre two point two bar" -> one reading of 2.2 bar.

    Raises DataFileError when a vocabulary file breaks the rules.
    """
    mentions = find_mentions(transcript)
    roled, seen = final_roles(transcript, mentions)
    notes = assemble(transcript, mentions, roled, seen)
    return with_confidence(notes, transcript)


def assemble(
    transcript: Transcript,
    mentions: Mentions,
    roled: tuple[RoledNumber, ...],
    seen: Seen | None,
) -> Notes:
    """Puts the roled numbers and the other mentions together."""
    context = context_of(transcript, mentions, roled, seen)
    roled = context.roled
    readings, unread = _readings(context)
    readings, dropped = _without_dropped(transcript, readings)
    said = {item.last: item for item in roled}
    meter = next((n for n in roled if n.role == "meter" and _meter_unit(n)), None)
    due = [n for n in roled if n.role == "follow_up" and due_of(transcript, n) is not None]
    left = [n for n in roled if _is_left(n, meter, due)]
    counted = [n for n in roled if n.role == "count"]
    later, warned = tuple(follow_ups(context, due)), tuple(spoken_cautions(context))
    sizes = [SetAside("part_size", at, at) for at in written_sizes(transcript)]
    return Notes(
        readings=tuple(_settled(context, readings, said)),
        set_aside=(*_set_aside(roled), *dropped, *sizes),
        actions=tuple(actions(context, later)),
        parts=tuple(parts(context, counted)),
        findings=tuple(findings(context, warned)),
        follow_ups=later,
        cautions=warned,
        unsure=(*unread, *_unsure(transcript, mentions, roled, left)),
        meter=_meter(meter) if meter else None,
        words=tuple(word.text for word in transcript.words),
        perhaps=tuple(perhaps(context)),
    )


def context_of(
    transcript: Transcript,
    mentions: Mentions,
    roled: tuple[RoledNumber, ...],
    seen: Seen | None,
) -> Context:
    """All that is known of a note before its numbers become readings."""
    roled = with_taken_up(transcript, mentions, with_heads(transcript, mentions, roled))
    roled = with_distrust(transcript, mentions, with_rivals(transcript, mentions, roled))
    return Context(transcript, mentions, with_glued(transcript, mentions, roled), seen)


def _unsure(
    transcript: Transcript,
    mentions: Mentions,
    roled: tuple[RoledNumber, ...],
    left: list[RoledNumber],
) -> Iterator[Unsure]:
    """What the note leaves open besides its readings; ``left`` are numbers that found no place."""
    for item in left:
        why = f"a number that could not be placed ({item.because})"
        yield Unsure(why, item.first, item.last)
    for item in roled:
        if (item.role, item.doubt) == (LIMIT, DOUBT):
            yield Unsure(DOUBT, item.first, item.last)
    yield from _unread(transcript, mentions)
    yield from undecided(transcript, mentions)


def _readings(context: Context) -> tuple[list[Reading], list[Unsure]]:
    """The readings, made a second time where those around a number settle what it is."""
    made = _made(context, context.roled)
    settled = likened(context.roled, made[0])
    return made if settled == context.roled else _made(context, settled)


def _made(context: Context, roled: tuple[RoledNumber, ...]) -> tuple[list[Reading], list[Unsure]]:
    readings: list[Reading] = []
    unsure: list[Unsure] = []
    for item in roled:
        if item.role not in MEASURING:
            continue
        made = make_reading(context, item, readings)
        if isinstance(made, Reading):
            made = with_relative(context, item, judged(context, item, made, readings))
            also = context.also_at(item.first, made.position)
            readings += [replace(made, position=place) for place in also] or [made]
        else:
            unsure.append(made)
    return readings, unsure


def _settled(
    context: Context, readings: list[Reading], said: dict[int, RoledNumber]
) -> Iterator[Reading]:
    """The readings with their final roles, and what of them was not said plainly. ``said``: the
    numbers by their last word."""
    settled = settle_sequels(readings, [_roles_of(r, said[r.last]) for r in readings])
    return (with_presumed(context, said[reading.last], reading) for reading in settled)


def _roles_of(reading: Reading, item: RoledNumber) -> dict[str, float]:
    """How probable each role is; the usual one of a quantity takes over from that of the number."""
    own = {**dict.fromkeys(MEASURING, 0.0), **(item.chances or {item.role: 1.0})}
    if reading.role != item.role:
        own[reading.role] += own[item.role]
        own[item.role] = 0.0
    return own


def _without_dropped(
    transcript: Transcript, readings: list[Reading]
) -> tuple[list[Reading], list[SetAside]]:
    """ "scratch the last reading" takes back the reading said last before it, and no other."""
    kept, dropped = list(readings), []
    for at, word in enumerate(transcript.words):
        if word.text != DROP:
            continue
        last = max((r for r in kept if r.last < at), key=lambda r: r.last, default=None)
        if last is not None:
            gone = [r for r in kept if (r.first, r.last) == (last.first, last.last)]
            kept = [r for r in kept if r not in gone]
            dropped.append(SetAside("superseded", last.first, last.last))
    return kept, dropped


def _set_aside(roled: tuple[RoledNumber, ...]) -> Iterator[SetAside]:
    elsewhere = (*MEASURING, "position", "meter", "follow_up", "unknown", "inside", ARTICLE)
    for item in roled:
        if item.role not in elsewhere:
            yield SetAside(item.role, *(item.whole or (item.first, item.last)))


def _is_left(item: RoledNumber, meter: RoledNumber | None, due: list[RoledNumber]) -> bool:
    """Numbers that found no place: unknown ones, a second meter, a date that is none."""
    if item.role == "meter":
        return item is not meter
    return item.role == "unknown" or (item.role == "follow_up" and item not in due)


def _unread(transcript: Transcript, mentions: Mentions) -> Iterator[Unsure]:
    """Typed digits that are no number as they stand, such as "1,5": never passed over."""
    covered = {at for run in mentions.numbers for at in range(run.first, run.last + 1)}
    covered.update(written_sizes(transcript))
    for at, word in enumerate(transcript.words):
        if at not in covered and word.text[:1].isdigit():
            yield Unsure("digits that could be read in more than one way", at, at)


def _meter_unit(item: RoledNumber) -> str | None:
    units = item.unit.units if item.unit else ()
    return next((unit.name for unit in units if unit.name in METERS), None)


def _meter(item: RoledNumber) -> Meter:
    number = item.number
    return Meter(number.value, number.said, _meter_unit(item), item.first, item.last)
