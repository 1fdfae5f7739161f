"""A note with everything that was found in it marked, and why each number became what it is.

The tool for adding a word or a cue: what is not marked was not known, and what is marked wrongly
names the entry of the data file that did it. For people, not a format.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from talklog.assemble import assemble
from talklog.mentions import NO_THING, CueMention, Mention, Mentions, find_mentions
from talklog.notes import Notes, Unsure
from talklog.roled import ARTICLE, RoledNumber
from talklog.trained import final_roles
from talklog.transcript import Transcript

WIDTH = 96
INDENT = "    "
# What the mark of a span says, by the kind of mention; the data file it comes from stands beside.
MARKS = {
    "unit": "unit",
    "component": "thing",
    NO_THING: "no thing",
    "position": "place",
    "quantity": "quantity",
    "action": "work",
    "condition": "state of it",
    "state": "measured when",
}
HEAD = """\
{words} words. What stands in brackets was known, with what it was taken for. Other words that
matter belong in talklog/data/: components, actions, conditions, quantities, positions, cues.
"""


def explain(transcript: Transcript) -> str:
    """The explanation as text. Raises DataFileError when a vocabulary file breaks the rules."""
    mentions = find_mentions(transcript)
    roled, seen = final_roles(transcript, mentions)
    notes = assemble(transcript, mentions, roled, seen)
    parts = (
        [HEAD.format(words=len(transcript.words))],
        _section("The note", [_marked(transcript, mentions, roled)]),
        _section("Numbers", (_number(transcript, n) for n in roled if n.role != ARTICLE)),
        _section("Readings", _readings(transcript, notes)),
        _section("Cues heard", (_cue(transcript, cue) for cue in mentions.cues)),
        _section("Asked about", (_asked(transcript, item) for item in notes.unsure)),
    )
    return "\n".join(text for part in parts for text in part) + "\n"


def _section(title: str, lines: Iterable[str]) -> Iterator[str]:
    found = [line for line in lines if line]
    if found:
        yield f"{title}\n" + "\n".join(found) + "\n"


def _marked(transcript: Transcript, mentions: Mentions, roled: Iterable[RoledNumber]) -> str:
    """The words, with what was known in brackets: "[front left: place] [tyre: thing]"."""
    said = (n for n in roled if n.role != ARTICLE)
    marks = {(n.number.first, n.number.last): f"number {n.number.said}" for n in said}
    for span in mentions.spans:
        marks.setdefault((span.first, span.last), _mark(span))
    text, at = [], 0
    words = [word.text for word in transcript.words]
    while at < len(words):
        last, mark = max(
            ((last, mark) for (first, last), mark in marks.items() if first == at),
            default=(at, ""),
        )
        said = " ".join(words[at : last + 1])
        text.append(f"[{said}: {mark}]" if mark else said)
        at = last + 1
    return textwrap.fill(" ".join(text), WIDTH, initial_indent=INDENT, subsequent_indent=INDENT)


def _mark(span: Mention) -> str:
    if span.kind == "unit":
        return "unit " + " or ".join(unit.name for unit in span.units)
    return f"{MARKS[span.kind]} {span.name}"


def _number(transcript: Transcript, item: RoledNumber) -> str:
    first, last = item.whole or (item.first, item.last)
    doubt = f"; not certain: {item.doubt}" if item.doubt else ""
    line = f"{transcript.heard(first, last)!r} is {item.role}: {item.because}{doubt}"
    return _filled(line)


def _readings(transcript: Transcript, notes: Notes) -> Iterator[str]:
    for reading in notes.readings:
        place = f", {reading.position}" if reading.position else ""
        what = f"{reading.quantity} of {reading.component}{place}"
        value = f"{reading.said} {reading.unit or 'without a unit'}"
        yield _filled(f"{what}: {value}, {reading.role}")
        for reason in reading.reason.split("; "):
            yield _filled(reason, INDENT * 2)
        if reading.presumed:
            yield _filled(f"most probable only: {', '.join(reading.presumed)}", INDENT * 2)
        if reading.doubt:
            yield _filled(f"asked, because {reading.doubt}", INDENT * 2)


def _cue(transcript: Transcript, mention: CueMention) -> str:
    cue = mention.cue
    heard = transcript.heard(mention.first, mention.last)
    reach = (
        f"reaches {cue.scope} words {cue.direction}" if cue.scope else "ends what was said before"
    )
    return _filled(f"{heard!r} is {cue.category}: {reach}")


def _asked(transcript: Transcript, item: Unsure) -> str:
    return _filled(f"{transcript.heard(item.first, item.last)!r}: {item.why}")


def _filled(text: str, indent: str = INDENT) -> str:
    return textwrap.fill(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
