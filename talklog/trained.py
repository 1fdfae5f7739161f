"""Step 4c: asks the trained readers where the rules leave something open. Knows no bands.

``widen`` adds the components, findings, actions and parts that only the reader sees; ``settle``
gives a number another role, or a doubt, where no cue gave it one. The weights lie in
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
from talklog.mentions import Mention, Mentions
from talklog.numberclues import number_clues
from talklog.roled import MEASURING, RoledNumber
from talklog.transcript import Transcript

FOLDER = Path(str(files("talklog"))) / "data" / "reader"
# Probabilities, chosen on the dev notes: see models/extractor/README.md.
ASIDE_BELOW = 0.25  # P(reading) below which a number without a cue is set aside
ASK_BELOW = 0.45  # P(reading) below which it is asked about
READ_ABOVE = 0.75  # P(reading) from which a number set aside without a cue is a reading after all
ROLE_ABOVE = 0.5  # P(role | reading) from which one of the four roles of a reading is taken
COUNTED = ("part_quantity", "position", "no_number")  # the record says "count" for all of them
ASIDE = (
    *("quoted_spec", "other_opinion", "intention", "hypothetical", "count", "time_or_date"),
    *("tool_size", "part_size", "superseded"),
)
READ = "read "  # before the kind of a mention that the reader found: "read finding"
SMALL = ("a", "an", "the", "new", "old", "this", "that", "it", "it's", "my", "his", "and", "of")


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


# ---- spans ---------------------------------------------------------------------------------------


def widen(transcript: Transcript, mentions: Mentions) -> Mentions:
    """The mentions with the components that the vocabulary does not know, and with what the reader
    takes for findings, actions and parts (kinds "read finding" and so on)."""
    if not transcript.words:
        return mentions
    found = list(_spans(transcript, mentions))
    taken = {at for span in mentions.spans for at in range(span.first, span.last + 1)}
    taken |= {at for run in mentions.numbers for at in range(run.first, run.last + 1)}
    new = [
        span
        for span in found
        if span.kind != "component" or not taken & set(range(span.first, span.last + 1))
    ]
    spans = sorted([*mentions.spans, *new], key=lambda s: (s.first, s.last))
    return replace(mentions, spans=tuple(spans))


def _spans(transcript: Transcript, mentions: Mentions) -> Iterator[Mention]:
    from talklog.spanreader import slices, spans_of

    reader, _ = readers()
    (likely,) = reader.read([find_clues(transcript, mentions)])
    for head, columns in slices():
        for first, last in spans_of(likely[:, columns].argmax(axis=1)):
            kind = head if head == "component" else READ + head
            name = transcript.heard(first, last)
            yield Mention(kind, name, first, last, base=name.split()[-1])


# ---- roles ---------------------------------------------------------------------------------------


def settle(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> tuple[RoledNumber, ...]:
    """The numbers with the role reader's word where the rules leave one open.

    What a cue says stands. ``because`` of a number that was changed says so and how probable it is.
    """
    if not roled:
        return ()
    chances = likely_roles(transcript, mentions, roled)
    return tuple(_settled(*pair) for pair in zip(roled, chances, strict=True))


def _settled(item: RoledNumber, chances: dict[str, float]) -> RoledNumber:
    reading = sum(chances[role] for role in MEASURING)
    if item.sure or item.whole is not None:
        return item
    if item.role in MEASURING:
        return _as_reading(item, chances, reading)
    if item.role in ASIDE and item.number.high is None and reading >= READ_ABOVE:
        return _changed(item, max(MEASURING, key=chances.__getitem__), reading)
    return item


def _as_reading(item: RoledNumber, chances: dict[str, float], reading: float) -> RoledNumber:
    """A number that the rules take for a reading for want of a cue."""
    if reading < ASIDE_BELOW:
        counted = sum(chances[role] for role in COUNTED)
        rivals = {role: chances[role] for role in ASIDE} | {"count": chances["count"] + counted}
        role = max(rivals, key=rivals.__getitem__)
        if chances["unsure"] < rivals[role]:
            return _changed(item, role, rivals[role])
    if reading < ASK_BELOW:
        return replace(item, doubt=item.doubt or "it may be no reading of this job")
    role = max(MEASURING, key=chances.__getitem__)
    return _changed(item, role, chances[role]) if chances[role] >= ROLE_ABOVE * reading else item


def _changed(item: RoledNumber, role: str, chance: float) -> RoledNumber:
    if role == item.role:
        return item
    return replace(item, role=role, because=f"the trained reader finds it {chance:.0%} likely")


def likely_roles(
    transcript: Transcript, mentions: Mentions, roled: Sequence[RoledNumber]
) -> list[dict[str, float]]:
    """For each number the probability of each role."""
    from talklog.rolereader import ROLES

    _, reader = readers()
    chances = reader.read(number_clues(transcript, mentions, roled))
    return [dict(zip(ROLES, map(float, row), strict=True)) for row in chances]
