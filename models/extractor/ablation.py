"""What the trained reader adds to the rules, and what it is worth alone.

    python -m models.extractor.ablation [--split dev]

Rules only: numbers keep the roles of their cues, findings are those of the vocabulary. Reader only:
each number has the role that the reader finds most probable without being told what the rules say
(the words, units, cues and numbers that both start from are the same), and all findings are the
reader's. Both: as talklog works.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any
from unittest.mock import patch

import click

from models.extractor.evaluate import F1_ROWS, total
from models.extractor.passages import SPLITS, load_split
from models.extractor.scoring import Tally
from talklog import assemble, trained
from talklog.mentions import Mentions
from talklog.numberclues import number_clues
from talklog.roled import MEASURING, RoledNumber
from talklog.roles import assign_roles
from talklog.transcript import Transcript

TOLD = ("rule=", "previous ", "next ", "second ", "doubt")  # clues that say what the rules made
ELSEWHERE = {"no_number": "count", "part_quantity": "count", "unsure": "unknown"}


def reader_alone(transcript: Transcript, mentions: Mentions) -> tuple[RoledNumber, ...]:
    """Every number in the role that the reader finds most probable."""
    from talklog.rolereader import ROLES

    roled = assign_roles(transcript, mentions)
    clues = [[c for c in own if not c.startswith(TOLD)]
             for own in number_clues(transcript, mentions, roled)]  # fmt: skip
    best = [ROLES[at] for at in trained.readers()[1].read(clues).argmax(axis=1)]
    names = [ELSEWHERE.get(role, role) for role in best]
    return tuple(
        replace(item, role=role, because="the reader", sure=role not in MEASURING)
        for item, role in zip(roled, names, strict=True)
    )


def found_by_reader(transcript: Transcript, mentions: Mentions, *_: Any) -> tuple[Any, ...]:
    """The reader's findings alone."""
    bare = replace(mentions, spans=tuple(s for s in mentions.spans if s.kind != "condition"))
    return trained.more_findings(transcript, bare, ())


def found_by_rule(_: Transcript, __: Mentions, known: Sequence[Any], *___: Any) -> Sequence[Any]:
    """The findings as the rules left them."""
    return known


WAYS: dict[str, tuple[Callable[..., Any], Callable[..., Any]]] = {
    "rules": (assign_roles, found_by_rule),
    "reader": (reader_alone, found_by_reader),
    "both": (trained.final_roles, trained.more_findings),
}


def measured(split: str, way: str) -> Tally:
    """The counts of a split, understood in one of WAYS."""
    roles, findings = WAYS[way]
    with (
        patch.object(assemble, "final_roles", roles),
        patch.object(assemble, "more_findings", findings),
    ):
        return total(load_split(split))


def lines(tallies: dict[str, Tally]) -> Iterator[str]:
    """A table in Markdown, a column for each way."""
    yield f"| measure | {' | '.join(tallies)} |"
    yield f"|---|{'---|' * len(tallies)}"
    for measure, name, _ in F1_ROWS:
        yield _row(f"{name} (F1)", [f"{t.f1(measure):.3f}" for t in tallies.values()])
    yield _row("role of a reading (F1)", [f"{t.f1('role'):.3f}" for t in tallies.values()])
    for measure, name in (
        ("leaked", "set aside, but became readings"),
        ("set aside", "set aside for the right reason"),
        ("unsure", "ambiguous lines marked unsure"),
        ("asked", "readings that are asked about"),
    ):
        yield _row(name, [f"{t.share(measure):.1%}" for t in tallies.values()])
    yield _row(
        "readings silently wrong (value, unit)",
        [f"{t.found['silent']} of {t.wanted['silent']}" for t in tallies.values()],
    )


def _row(name: str, cells: Sequence[str]) -> str:
    return f"| {name} | {' | '.join(cells)} |"


@click.command()
@click.option("--split", type=click.Choice(SPLITS), default="dev", show_default=True)
def main(split: str) -> None:
    """Prints the table of figures for rules, reader and both."""
    click.echo("\n".join(lines({way: measured(split, way) for way in WAYS})))


if __name__ == "__main__":
    main()
