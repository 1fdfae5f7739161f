"""What the trained reader adds to the rules, and what it is worth alone.

    python -m models.extractor.ablation [--split dev]

Rules only: numbers keep the roles of their cues, work, parts and findings are those of the
vocabulary, a learned choice by hand-made features says which thing a number belongs to. Reader
only: what the network finds most probable counts, whatever the rules say (their word is among its
clues, and units and the values of numbers come from them in every column). Both: as talklog works.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from typing import Any
from unittest.mock import patch

import click

from models.extractor.evaluate import F1_ROWS, total
from models.extractor.passages import SPLITS, load_split
from models.extractor.scoring import Tally
from talklog import actions, assemble, findings, followups, links, parts, quantity, trained
from talklog.mentions import Mentions
from talklog.roles import assign_roles
from talklog.transcript import Transcript


def by_rule(transcript: Transcript, mentions: Mentions) -> tuple[Any, None]:
    """The numbers in their roles by rule, and no reader."""
    return assign_roles(transcript, mentions), None


def nothing(*_: Any) -> Iterator[Any]:
    """What the rules know, for the reader alone."""
    return iter(())


# way -> (module, name, what stands there instead)
WAYS: dict[str, tuple[tuple[Any, str, Any], ...]] = {
    "rules": ((assemble, "final_roles", by_rule),),
    "reader": (
        (trained, "CUED", 1.0), (trained, "PLAIN", 1.0),
        (links, "RULES", 0.0), (quantity, "RULES", 0.0),
        (actions, "_known_actions", nothing), (parts, "_said", nothing),
        (findings, "_known_findings", nothing),
        (followups, "_by_cue", nothing), (followups, "_by_time", nothing),
    ),
    "both": (),
}  # fmt: skip


def measured(split: str, way: str) -> Tally:
    """The counts of a split, understood in one of WAYS."""
    with ExitStack() as changed:
        for module, name, instead in WAYS[way]:
            changed.enter_context(patch.object(module, name, instead))
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
