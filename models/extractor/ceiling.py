"""What would come out of notes if the trained reader were never wrong: what later steps lose.

    python -m models.extractor.ceiling [--split dev|check|test|train] [--only things,places]

The annotations of a passage take the place of the reader's probabilities, all of them or those of
some kinds, and the table of ``evaluate`` is made of the rest. A figure far below 1 is a fault of
the rules behind the reader, of the vocabulary or of the annotations, and no training can mend it.
With one kind at a time it tells which kind the reader should know better.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Any

import click
import numpy as np

from models.extractor.evaluate import table
from models.extractor.gold import Names, gold_of, usual_names
from models.extractor.passages import SPLITS, Passage, load_split
from models.extractor.scoring import Tally, compare, transcript_of
from talklog.assemble import assemble
from talklog.mentions import Mentions, find_mentions
from talklog.notenet import REACH, WORD_HEADS
from talklog.notereader import Likely, NoteReader
from talklog.notes import Notes
from talklog.roled import RoledNumber
from talklog.roles import assign_roles
from talklog.seeing.kinds import Seen
from talklog.seen import reader, seen_by
from talklog.trained import settle
from talklog.transcript import Transcript

KINDS = ("words", "roles", "quantities", "things", "places", "units", "asks")
SURE = 0.97  # probability of what was annotated


class Annotated:
    """A reader that says what was annotated for some ``kinds``, and else what ``own`` says."""

    def __init__(self, own: NoteReader, gold: dict[str, Any], kinds: Collection[str]) -> None:
        self.own, self.gold, self.kinds = own, gold, kinds

    def read(self, note: Any) -> Likely:
        """As ``NoteReader.read``."""
        likely, gold = self.own.read(note), self.gold
        firsts = [at for kind, at, _ in gold["asks"] if kind == "number"]
        things = [what for kind, _, what in gold["asks"] if kind == "number"]
        told = {
            "roles": _labelled(likely.roles, gold["roles"]),
            "quantities": _labelled(likely.quantities, gold["quantities"]),
            "things": _pointed(likely.things, firsts, things),
            "units": _pointed(likely.units, firsts, gold["units"]),
            "places": _pointed(likely.places, firsts, gold["places"], each=True),
            "words": {name: _labelled(likely.words[name], gold["words"][name])
                      for name in WORD_HEADS},
        }  # fmt: skip
        return replace(likely, **{name: own for name, own in told.items() if name in self.kinds})

    def things_of(self, name: str, likely: Likely, at: list[int]) -> np.ndarray:
        """As ``NoteReader.things_of``."""
        chances = self.own.things_of(name, likely, at)
        asked = {(kind, word): things for kind, word, things in self.gold["asks"]}
        known = [asked.get((name, word)) for word in at]
        return _pointed(chances, at, known) if "asks" in self.kinds else chances


def _labelled(chances: np.ndarray, labels: Sequence[int]) -> np.ndarray:
    """Rows whose label is known (not negative) with that label."""
    found = chances.copy()
    for row, label in enumerate(labels):
        if label >= 0:
            found[row] = (1 - SURE) / chances.shape[1]
            found[row, label] += SURE
    return found


def _pointed(
    chances: np.ndarray,
    firsts: Sequence[int],
    words: Sequence[Sequence[int] | None],
    *,
    each: bool = False,
) -> np.ndarray:
    """Rows with the words that are meant, or the last place for none of them; with ``each`` every
    word has a probability of its own."""
    found = chances.copy()
    for row, (first, meant) in enumerate(zip(firsts, words, strict=True)):
        if meant is not None:
            inside = _window(first, meant)
            found[row] = (1 - SURE) / (2 if each else chances.shape[1])
            inside = inside if each or inside else [-1]
            found[row, inside] += SURE - (1 - SURE) / 2 if each else SURE / len(inside)
    return found


def _window(first: int, words: Sequence[int]) -> list[int]:
    away = [word - first + REACH for word in words]
    return [place for place in away if 0 <= place <= 2 * REACH]


def understand_as_annotated(passage: Passage, names: Names, kinds: Collection[str]) -> Notes:
    """A passage as it would be understood with the annotations for the reader."""
    transcript = transcript_of(passage.words, passage.pauses)
    mentions = find_mentions(transcript)
    roled = assign_roles(transcript, mentions)
    seen = _seen(passage, transcript, mentions, roled, names, kinds)
    if seen.cuts:
        roled = assign_roles(transcript, mentions, seen.cuts)
        seen = _seen(passage, transcript, mentions, roled, names, kinds)
    return assemble(transcript, mentions, settle(mentions, roled, seen), seen)


def _seen(
    passage: Passage,
    transcript: Transcript,
    mentions: Mentions,
    roled: Sequence[RoledNumber],
    names: Names,
    kinds: Collection[str],
) -> Seen:
    gold = gold_of(passage, mentions, roled, names=names)
    return seen_by(Annotated(reader(), gold, kinds), transcript, mentions, roled)


@click.command()
@click.option("--split", type=click.Choice(SPLITS), default="dev", show_default=True)
@click.option("--only", default=",".join(KINDS), show_default=True, help="Kinds that are given.")
def main(split: str, only: str) -> None:
    """Prints the table of figures with a reader that is right."""
    kinds, names, tally = only.split(","), usual_names(load_split("train")), Tally()
    if unknown := set(kinds) - set(KINDS):
        raise click.UsageError(f"no kind: {', '.join(sorted(unknown))}; known: {', '.join(KINDS)}")
    for passage in load_split(split):
        tally.add(compare(passage, understand_as_annotated(passage, names, kinds)))
    click.echo("\n".join(table(tally)))


if __name__ == "__main__":
    main()
