"""Step 4c: asks the trained readers where the rules leave something open. Knows no bands.

``final_roles`` gives a number another role, or a doubt, where no cue gave it one; ``more_findings``
adds conditions in words that no list holds ("like gravel in a tin"). The weights lie in
``data/reader`` and are loaded once.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from talklog.clues import find_clues
from talklog.errors import DataFileError
from talklog.mentions import Mentions, near
from talklog.notes import Finding, SpokenCaution
from talklog.numberclues import number_clues
from talklog.roled import FILLERS, MEASURING, RoledNumber
from talklog.roles import assign_roles
from talklog.transcript import Transcript
from talklog.vocabulary import load

FOLDER = Path(str(files("talklog"))) / "data" / "reader"
# Probabilities, chosen on the dev notes: see models/extractor/README.md.
ASIDE_BELOW = 0.5  # P(reading) below which a number without a cue is set aside
ASIDE_ABOVE = 0.4  # P(role) from which it is set aside and not only asked about
ASK_BELOW = 0.5  # P(reading) below which it is asked about
READ_ABOVE = 0.6  # P(reading) from which a number set aside without a cue is a reading after all
ROLE_ABOVE = 0.55  # P(role) over P(reading) from which one of the roles of a reading is taken
AGAINST = 0.2  # P(reading) below which even the cue of a reading is not believed
FOUND = 0.3  # P(inside a finding) of its words
NAMED = 0.5  # P(inside a component) of its words
BEGINS = 0.6  # P from which a word begins another span
REACH = 15  # words from a condition back to the thing that it was seen on
NEAR = 3  # words: a thing that near before a condition is part of what was said of it
LEFT = ("position", "no_number", "unsure", "meter", "follow_up")  # not for the reader to say
BESIDE = 3  # words between a value and the word for what is measured
ASIDE = (
    *("quoted_spec", "other_opinion", "intention", "hypothetical", "count", "time_or_date"),
    *("tool_size", "part_size", "superseded"),
)
LIGHT = ("a", "an", "the", "is", "was", "are", "were", "it", "it's", "its", "that", "that's", "and")
LIGHT += ("i", "he", "she", "they", "they're", "she's", "so", "but", "had", "has", *FILLERS)

Span = tuple[int, int]


@lru_cache(maxsize=1)
def readers() -> tuple[Any, Any]:
    """The span reader and the role reader. Raises DataFileError when the folder is not whole."""
    from spacy.vocab import Vocab

    from talklog.rolereader import RoleReader, build_sum
    from talklog.spanreader import SIZES, SpanReader, build_network

    spans = SpanReader(Vocab(), build_network(**SIZES), "span_reader")
    roles = RoleReader(Vocab(), build_sum(0), "role_reader")
    for reader in (spans, roles):
        try:
            reader.from_disk(FOLDER / reader.name, exclude=["vocab"])
        except (OSError, ValueError) as error:
            raise DataFileError(
                f"{FOLDER / reader.name}: the trained reader cannot be loaded ({error}); "
                "install talklog again"
            ) from error
    return spans, roles


# ---- roles ---------------------------------------------------------------------------------------


def final_roles(transcript: Transcript, mentions: Mentions) -> tuple[RoledNumber, ...]:
    """The roles by rule, settled."""
    return settle(transcript, mentions, assign_roles(transcript, mentions))


def settle(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> tuple[RoledNumber, ...]:
    """The numbers with the role reader's word where the rules leave one open.

    What a cue set aside stays so; what a cue calls a reading stands unless the reader is all but
    certain that it is none. ``because`` of a number that was changed says so and how probable it
    is. "chucked two at three hundred newtons in" -> the size of a part.
    """
    if not roled:
        return ()
    chances = likely_roles(transcript, mentions, roled)
    return tuple(
        _settled(item, of_item, named=_is_named(mentions, item))
        for item, of_item in zip(roled, chances, strict=True)
    )


def likely_roles(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> list[dict[str, float]]:
    """For each number the probability of each role."""
    from talklog.rolereader import ROLES

    chances = readers()[1].read(number_clues(transcript, mentions, roled))
    return [dict(zip(ROLES, row, strict=True)) for row in chances.tolist()]


def _is_named(mentions: Mentions, item: RoledNumber) -> bool:
    """ "belt deflection twelve millimetres": what is measured was said beside it."""
    close = near(mentions.of("quantity"), item.first, item.last)
    beside = any(-BESIDE <= q.last - item.first < 0 or 0 < q.first - item.last <= BESIDE
                 for q in close)  # fmt: skip
    return beside and item.unit is not None


def _settled(item: RoledNumber, chances: dict[str, float], *, named: bool) -> RoledNumber:
    reading = sum(chances[role] for role in MEASURING)
    if item.whole is not None or item.number.high is not None:
        return item
    if item.role in ASIDE and not item.sure and reading >= READ_ABOVE:
        return _changed(item, max(MEASURING, key=chances.__getitem__), reading)
    if item.role not in MEASURING:
        return item
    if named:
        return _asked(item) if reading < AGAINST else item
    return item if item.sure and reading >= AGAINST else _open(item, chances, reading)


def _open(item: RoledNumber, chances: dict[str, float], reading: float) -> RoledNumber:
    """A number that the rules take for a reading for want of a cue."""
    if reading < ASIDE_BELOW:
        counted = chances["count"] + chances["part_quantity"]
        rivals = {role: chances[role] for role in (*ASIDE, *LEFT)} | {"count": counted}
        role = max(rivals, key=rivals.__getitem__)
        if role in ASIDE and rivals[role] >= ASIDE_ABOVE:
            return _changed(item, role, rivals[role])
    if reading < ASK_BELOW:
        return _asked(item)
    role = max(MEASURING, key=chances.__getitem__)
    return _changed(item, role, chances[role]) if chances[role] >= ROLE_ABOVE * reading else item


def _asked(item: RoledNumber) -> RoledNumber:
    return replace(item, doubt=item.doubt or "it may be no reading of this job")


def _changed(item: RoledNumber, role: str, chance: float) -> RoledNumber:
    if role == item.role:
        return item
    return replace(item, role=role, because=f"most probable by the trained reader ({chance:.0%})")


# ---- findings ------------------------------------------------------------------------------------


def more_findings(
    transcript: Transcript,
    mentions: Mentions,
    known: Sequence[Finding],
    warned: Sequence[SpokenCaution] = (),
) -> tuple[Finding, ...]:
    """The findings known by rule, and those that the span reader sees where the rules have no word
    to say: none within a warning, and none over a condition that the rules looked at."""
    if not transcript.words:
        return tuple(known)
    settled = [*known, *warned, *mentions.of("condition")]
    new = (
        finding
        for finding in _read_findings(transcript, mentions)
        if not any(s.first <= finding.last and finding.first <= s.last for s in settled)
    )
    return tuple(sorted([*known, *new], key=lambda f: (f.first, f.last)))


def _read_findings(transcript: Transcript, mentions: Mentions) -> Iterator[Finding]:
    from talklog.spanreader import slices

    likely = readers()[0].read(find_clues(transcript, mentions))
    columns = dict(slices())
    known = {(c.first, c.last): c.name for c in mentions.of("component")}
    read = decode(likely[:, columns["component"]].tolist(), NAMED)
    alone = [k for k in known if not any(_share(k, span) for span in read)]
    things = sorted([*read, *alone])
    for first, last in decode(likely[:, columns["finding"]].tolist(), FOUND):
        thing = _seen_on(things, first, last)
        if thing is None:
            continue
        words = [w.text for w in transcript.words]
        condition = _condition(words, [at for at in range(first, last + 1) if not _in(at, thing)])
        if condition:
            name = known.get(thing) or " ".join(words[thing[0] : thing[1] + 1]).removesuffix("'s")
            close = first - thing[1] <= NEAR
            start = min(first, thing[0]) if close else first
            yield Finding(name, condition, start, max(last, thing[1]))


def _seen_on(things: Sequence[Span], first: int, last: int) -> Span | None:
    """The first thing named within a condition, else the last one before it."""
    inside = next((thing for thing in things if _share(thing, (first, last))), None)
    before = [thing for thing in things if 0 < first - thing[1] < REACH]
    return inside or (before[-1] if before else None)


def _condition(words: Sequence[str], places: Sequence[int]) -> str:
    """The words of a condition, without places and small words at its head."""
    skipped = {*LIGHT, *(word for forms in load().positions.values() for f in forms for word in f)}
    said = [words[at] for at in places]
    while said and said[0] in skipped:
        said.pop(0)
    return " ".join(said)


def _share(one: Span, other: Span) -> bool:
    return one[0] <= other[1] and other[0] <= one[1]


def _in(at: int, span: Span) -> bool:
    return span[0] <= at <= span[1]


def decode(rows: Sequence[Sequence[float]], least: float) -> list[Span]:
    """Probabilities (outside, begins, inside) of each word -> inclusive spans of the words that
    are in one with ``least`` probability or more; one weak word does not break a span."""
    spans: list[list[int]] = []
    for at, (outside, begins, inside) in enumerate(rows):
        if 1 - outside <= least:
            continue
        goes_on = spans and at - spans[-1][1] <= 1 + (1 - rows[at - 1][0] > least / 3)
        if goes_on and not (begins > BEGINS and begins > inside):
            spans[-1][1] = at
        else:
            spans.append([at, at])
    return [(first, last) for first, last in spans]
