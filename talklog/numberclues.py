"""Step 4b: what stands around each number, as the features that the trained role reader sees.

A number's clues are strings: its form and size, its unit, what the rules made of it, the words
around it, and the nearest cues, quantities, components, places and numbers. Nothing is learned
here.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from math import floor, log10

from talklog.clues import find_pauses
from talklog.mentions import Mention, Mentions, near
from talklog.roled import RoledNumber
from talklog.transcript import Transcript

DISTANCES = (1, 3, 7, 15)  # words; farther is "far"
BESIDE = 4  # words on each side that are told apart by their place
BEFORE, BEHIND = 10, 6  # words on each side of which only the presence counts
CUES_BEFORE, CUES_BEHIND = 15, 8
FAR = 40  # words: what stands farther away has nothing to do with the number


def number_clues(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> list[list[str]]:
    """For each roled number its clues, in the same order."""
    words = _plain_words(transcript, mentions, roled)
    pauses = find_pauses(transcript)
    return [
        [
            *_own(item),
            *_words(words, item),
            *_cues(mentions, item),
            *_things(mentions, item),
            *_numbers(roled, at),
            *_pauses(pauses, mentions, item),
        ]
        for at, item in enumerate(roled)
    ]


def _plain_words(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> list[str]:
    """The words with all numbers alike, and all units."""
    words = [word.text for word in transcript.words]
    for item in roled:
        words[item.number.first : item.number.last + 1] = ["#"] * (
            item.number.last - item.number.first + 1
        )
    for unit in mentions.of("unit"):
        words[unit.first : unit.last + 1] = ["<unit>"] * (unit.last - unit.first + 1)
    return words


def _own(item: RoledNumber) -> Iterator[str]:
    form, measured, unit = item.number.form, _measured(item.unit), _name(item.unit)
    size = str(floor(log10(abs(item.number.value)))) if item.number.value else "0"
    yield from (f"form={form}", f"size={size}", f"measures={measured}", f"unit={unit}")
    yield from (f"unit={unit} size={size}", f"size={size} form={form}")
    yield from (f"rule={item.role}", f"rule={item.role} {item.sure}")
    yield f"rule={item.role} measures={measured}"
    if item.doubt:
        yield "doubt"


def _measured(unit: Mention | None) -> str:
    return unit.units[0].quantities[0] if unit else "none"


def _name(unit: Mention | None) -> str:
    return unit.units[0].name if unit else "none"


def _words(words: Sequence[str], item: RoledNumber) -> Iterator[str]:
    first, last = item.number.first, item.last
    before = [words[at] if at >= 0 else "<" for at in range(first - 1, first - 1 - BESIDE, -1)]
    behind = [words[at] if at < len(words) else ">" for at in range(last + 1, last + 1 + BESIDE)]
    yield from (f"w-{far}={word}" for far, word in enumerate(before, 1))
    yield from (f"w+{far}={word}" for far, word in enumerate(behind, 1))
    yield from (f"w-2-1={before[1]} {before[0]}", f"w+1+2={behind[0]} {behind[1]}")
    yield f"w-1+1={before[0]} {behind[0]}"
    yield from (f"before={word}" for word in set(words[max(0, first - BEFORE) : first]))
    yield from (f"behind={word}" for word in set(words[last + 1 : last + 1 + BEHIND]))


def _cues(mentions: Mentions, item: RoledNumber) -> Iterator[str]:
    first, last = item.number.first, item.last
    for cue in near(mentions.cues, first, last):
        category = cue.cue.category
        if 0 < first - cue.last <= CUES_BEFORE:
            yield f"cue<{category} {_bucket(first - cue.last)}"
            yield f"cue<{' '.join(cue.cue.phrase)}"
        elif 0 < cue.first - last <= CUES_BEHIND:
            yield f"cue>{category} {_bucket(cue.first - last)}"
        yield f"about={category}"


def _bucket(distance: int) -> str:
    return next((f"{limit}" for limit in DISTANCES if distance <= limit), "far")


def _things(mentions: Mentions, item: RoledNumber) -> Iterator[str]:
    first, last, unit = item.number.first, item.last, _measured(item.unit)
    for kind in ("quantity", "unit", "component", "action", "position"):
        left, right = _beside(mentions.of(kind), first, last)
        for side, span in (("<", left), (">", right)):
            name = "" if span is None else _measured(span) if kind == "unit" else span.base
            far = (
                "none"
                if span is None
                else _bucket(min(abs(first - span.last), abs(span.first - last)))
            )
            yield from (f"{kind}{side}{name}", f"{kind}{side}{name} {far}")
            yield from (f"{kind}{side}{name} measures={unit}", f"{kind}{side} {far}")


def _pauses(pauses: Sequence[int], mentions: Mentions, item: RoledNumber) -> Iterator[str]:
    """Those beside the number, and the longest ones up to the nearest things and quantities."""
    if not any(pauses):
        return
    first, last = item.number.first, item.last
    yield f"pause<{pauses[first]}"
    yield f"pause>{pauses[last + 1] if last + 1 < len(pauses) else 'end'}"
    for kind in ("quantity", "component", "action", "position"):
        left, right = _beside(mentions.of(kind), first, last)
        if left is not None:
            yield f"{kind}< pause {max(pauses[left.last + 1 : first + 1], default=0)}"
        if right is not None:
            yield f"{kind}> pause {max(pauses[last + 1 : right.first + 1], default=0)}"


def _beside(
    spans: Sequence[Mention], first: int, last: int
) -> tuple[Mention | None, Mention | None]:
    """The nearest before and behind, within FAR words."""
    at = bisect_left(spans, first, key=lambda span: span.first)
    before = [span for span in spans[max(0, at - 3) : at] if first - FAR <= span.last < first]
    behind = [span for span in spans[at : at + 3] if last < span.first <= last + FAR]
    return (before[-1] if before else None), (behind[0] if behind else None)


def _numbers(roled: Sequence[RoledNumber], at: int) -> Iterator[str]:
    item = roled[at]
    for name, other in (("previous", at - 1), ("next", at + 1), ("second", at - 2)):
        if not 0 <= other < len(roled):
            yield f"{name}=none"
            continue
        found = roled[other]
        yield from (f"{name} {found.role}", f"{name} {found.number.form}")
        yield f"{name} {_bucket(abs(found.number.first - item.number.first))}"
        yield f"{name} same unit {_name(found.unit) == _name(item.unit)}"
    unit = _name(item.unit)
    earlier = item.unit is not None and any(
        _name(o.unit) == unit for o in roled[max(0, at - 6) : at]
    )
    later = item.unit is not None and any(_name(o.unit) == unit for o in roled[at + 1 : at + 7])
    yield f"earlier {earlier} later {later}"
