"""How well talklog understands notes that people wrote by hand: the table of the extractor.

    python -m models.extractor.evaluate [--split dev|check|test|train] [--by-passage] [--misses]

Runs ``understand`` (no bands) over the passages of a split and compares with what the annotators
wrote; the rules of comparison stand at the head of ``scoring``. F1 = 2 right / (wanted + found).
``--misses`` prints every difference with its passage, for work on the rules; not for the test
split, whose passages nobody should learn by heart.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable, Iterator

import click

from models.extractor.passages import SPLITS, Passage, load_split
from models.extractor.scoring import FIELDS, Miss, Tally, compare, transcript_of
from talklog.assemble import understand
from talklog.notes import Notes
from talklog.transcript import Transcript

# measure, how it is named in the table, target
F1_ROWS = (
    ("all", "readings: all six fields right", 0.92),
    ("value unit component", "readings: value, unit, component", 0.96),
    ("value unit", "readings: value, unit", None),
    ("actions", "actions: verb, component, done", 0.88),
    ("parts", "parts with status", 0.88),
    ("follow_ups", "follow-ups with due", 0.85),
    ("findings", "findings", 0.80),
    ("meter", "meter readings", None),
)
WORDS_WANTED, LOADING_WANTED = 20_000, 1.0
Understand = Callable[[Transcript], Notes]


def score(
    passages: tuple[Passage, ...], *, understand: Understand = understand
) -> Iterator[tuple[Passage, Tally]]:
    """Each passage with its counts."""
    for passage in passages:
        yield passage, compare(passage, understand(transcript_of(passage.words, passage.pauses)))


def total(passages: tuple[Passage, ...], *, understand: Understand = understand) -> Tally:
    """The counts of all passages together."""
    tally = Tally()
    for _, one in score(passages, understand=understand):
        tally.add(one)
    return tally


def table(tally: Tally) -> Iterator[str]:
    """The lines of the table, figures first as measured, then wanted."""
    yield f"{'measure':42}{'figure':>8}{'target':>8}   right / wanted, found"
    for measure, name, target in F1_ROWS:
        counts = f"{tally.right[measure]} / {tally.wanted[measure]}, {tally.found[measure]}"
        yield f"{name + ' (F1)':42}{tally.f1(measure):8.3f}{_target(target):>8}   {counts}"
    yield _share(tally, "leaked", "set aside, but became readings", "<= 2 %")
    yield _share(tally, "set aside", "set aside for the right reason", "")
    yield _share(tally, "unsure", "ambiguous lines marked unsure", "90 %")
    yield _share(tally, "asked", "readings that are asked about", "")
    silent = tally.found["silent"]
    of_all = tally.wanted["silent"]
    yield f"{'readings silently wrong (value, unit)':42}{silent:8d}{'':8}   of {of_all}"
    yield _share(tally, "presumed", "fields marked as presumed that are wrong", "")
    yield _share(tally, "plain", "not asked about, wrong in an unmarked field", "")
    fields = ", ".join(f"{name} {tally.f1(name):.3f}" for name in FIELDS)
    yield f"each field of a reading (F1): {fields}"


def _target(target: float | None) -> str:
    return f"{target:.2f}" if target else ""


def _share(tally: Tally, measure: str, name: str, target: str) -> str:
    counts = f"{tally.right[measure]} / {tally.wanted[measure]}"
    return f"{name:42}{tally.share(measure):8.1%}{target:>8}   {counts}"


def words_per_second(passages: tuple[Passage, ...]) -> float:
    """Speed after loading, over all passages, the best of three rounds, in processor time: other
    work on the machine does not count."""
    transcripts = [transcript_of(passage.words, passage.pauses) for passage in passages]
    words = sum(len(passage.words) for passage in passages)
    clock = time.process_time
    best = min(_seconds(lambda: [understand(t) for t in transcripts], clock) for _ in range(3))
    return words / best


def _seconds(work: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> float:
    before = clock()
    work()
    return clock() - before


def loading_seconds() -> float:
    """A new Python that imports the extractor and understands one line, less an empty Python.
    Only with the libraries of talklog itself: spaCy imports torch where it happens to be."""
    line = "import sys; sys.modules['torch'] = None; "
    line += "from models.extractor.scoring import transcript_of as t; "
    line += "from talklog.assemble import understand; understand(t('gap ten thou'.split()))"
    run = [sys.executable, "-c"]
    empty = _seconds(lambda: subprocess.run([*run, "pass"], check=True))
    return min(_seconds(lambda: subprocess.run([*run, line], check=True)) for _ in range(3)) - empty


def _lines(passage: Passage, misses: list[Miss]) -> Iterator[str]:
    yield f"\n{passage.source} {passage.id}: {passage.text}"
    for miss in misses:
        yield f"    {miss.kind}: {miss.what}"


@click.command()
@click.option("--split", type=click.Choice(SPLITS), default="dev", show_default=True)
@click.option("--by-passage", is_flag=True, help="One line for each passage.")
@click.option("--misses", is_flag=True, help="Every difference (dev and train only).")
@click.option("--only", default="", help="Passages whose file or id holds this.")
@click.option("--paused", is_flag=True, help="With the pauses that readers of the notes heard.")
@click.option("--speed/--no-speed", default=True, show_default=True)
def main(split: str, by_passage: bool, misses: bool, only: str, paused: bool, speed: bool) -> None:
    """Prints the table of figures for one split of the corpus."""
    if misses and split == "test":
        raise click.UsageError("--misses is for dev and train: the test notes stay unseen")
    found = load_split(split, paused=paused)
    passages = tuple(passage for passage in found if only in f"{passage.source} {passage.id}")
    tally = Tally()
    for passage, one in score(passages):
        tally.add(one)
        if by_passage:
            figures = f"{one.right['all']}/{one.wanted['all']},{one.found['all']}"
            click.echo(f"{passage.source:24}{passage.id:20}{figures:>10}  {len(one.misses)} misses")
        if misses and one.misses:
            click.echo("\n".join(_lines(passage, one.misses)))
    words = sum(len(passage.words) for passage in passages)
    click.echo(f"\n{split}: {len(passages)} passages, {words} words")
    click.echo("\n".join(table(tally)))
    if speed:
        click.echo(f"{'words a second':42}{words_per_second(passages):8.0f}{WORDS_WANTED:8}")
        click.echo(f"{'loading, seconds':42}{loading_seconds():8.2f}{LOADING_WANTED:8}")


if __name__ == "__main__":
    main()
