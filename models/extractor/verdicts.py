"""Whether readings of hand-written notes get the verdict that they should: right ones, out of band.

    python -m models.extractor.verdicts [--split dev|check|test|train]

The notes have no spec bands, so each passage gets a sheet of its own: one invented band for each
thing and quantity that was annotated with a unit, laid around the annotated value or, for every
other one, beside it. The annotated reading, judged by that band, says what the verdict should be.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from decimal import Decimal
from zlib import crc32

import click

from models.extractor.passages import SPLITS, Item, Passage, load_split
from models.extractor.scoring import component_words, match, transcript_of
from talklog.assemble import understand
from talklog.bands import Band, BandSheet, Machine
from talklog.check import check, judge_by
from talklog.notes import NOT_SAID, Reading
from talklog.verdicts.kinds import OUT, CheckedReading

INSIDE, BESIDE = Decimal("0.2"), Decimal("0.1")  # of the value: width of a band, distance from it
KINDS = 3  # a band around the value, one below it, one above it


def bands_of(passage: Passage) -> tuple[Band, ...]:
    """One band for each quantity of each named thing that was read with a unit; the last value of
    a thing decides where it lies. The passage's name decides whether it is kept."""
    found: dict[tuple[str, str], Band] = {}
    for at, item in enumerate(passage.lists["readings"]):
        name = " ".join(component_words(item["component"]))
        if name and item["unit"]:
            kind = crc32(f"{passage.source} {passage.id} {at}".encode()) % KINDS
            found[item["quantity"], name] = _band(item, name, kind)
    return tuple(found.values())


def _band(item: Item, name: str, kind: int) -> Band:
    value = Decimal(item["value"])
    away = abs(value) * BESIDE or Decimal(1)
    low, high = (
        (value - 2 * away, value + 2 * away),
        (value - abs(value) * INSIDE - 2 * away, value - away),
        (value + away, value + abs(value) * INSIDE + 2 * away),
    )[kind]
    return Band(item["quantity"], name, "invented for this measurement", item["unit"], low, high)


def counts(passages: Iterable[Passage]) -> Counter[tuple[str, str]]:
    """(wanted, got) -> how many annotated readings. wanted: in_band, low, high; got: a verdict, or
    "another value" where the note was read otherwise, or "not read"."""
    tally: Counter[tuple[str, str]] = Counter()
    for passage in passages:
        bands = bands_of(passage)
        if bands:
            tally.update(_pairs(passage, BandSheet(Machine("notes", "Notes"), bands)))
    return tally


def _pairs(passage: Passage, sheet: BandSheet) -> Iterator[tuple[str, str]]:
    checked = check(understand(transcript_of(passage.words, passage.pauses)), sheet).readings
    by_reading = {id(own.reading): own for own in checked}
    readings = [own.reading for own in checked]
    pairs = match(readings, passage.lists["readings"], _same_value)
    got_of = {id(item): by_reading[id(got)] for got, item in pairs}
    for item in passage.lists["readings"]:
        wanted = _wanted(item, sheet)
        if wanted is not None:
            yield wanted, _got(got_of.get(id(item)), item)


def _same_value(got: Reading, item: Item) -> bool:
    return got.value == Decimal(item["value"])


def _wanted(item: Item, sheet: BandSheet) -> str | None:
    name = " ".join(component_words(item["component"])) or NOT_SAID
    own = (b for b in sheet.bands if (b.quantity, b.component) == (item["quantity"], name))
    band = next(own, None)
    if band is None or not item["unit"]:
        return None
    reading = Reading(
        quantity=item["quantity"], component=name, position=None, condition=None,
        value=Decimal(item["value"]), said=item["value"], unit=item["unit"], role=item["role"],
        first=item.first, last=item.last, reason="annotated",
    )  # fmt: skip
    return judge_by(reading, band).verdict


def _got(checked: CheckedReading | None, item: Item) -> str:
    if checked is None:
        return "not read"
    right = _same_value(checked.reading, item)
    return checked.verdict if right or checked.verdict == "unsure" else "another value"


def table(tally: Counter[tuple[str, str]]) -> Iterator[str]:
    """Lines of figures."""
    read = {k: n for k, n in tally.items() if k[1] not in ("not read", "another value")}
    right = sum(n for (wanted, got), n in read.items() if wanted == got)
    asked = sum(n for (_, got), n in read.items() if got == "unsure")
    none = sum(n for (_, got), n in read.items() if got == "no_band")
    all_ = sum(read.values())
    yield f"read with the value annotated, or asked: {all_} of {sum(tally.values())} with a band"
    yield f"  verdict right {right / all_:.1%}, asked {asked / all_:.1%}, no band {none / all_:.1%}"
    yield f"  verdict wrong {(all_ - right - asked - none) / all_:.1%}"
    given = all_ - asked - none
    yield f"  of the {given} verdicts given {right / max(given, 1):.1%} are right (target 99 %)"
    out = {k: n for k, n in tally.items() if k[0] in OUT}
    total = sum(out.values())
    flagged = sum(n for (wanted, got), n in out.items() if got == wanted)
    asked = sum(n for (_, got), n in out.items() if got == "unsure")
    yield f"out of band: {total}, flagged {flagged / total:.1%} (target 99 %), asked about "
    yield f"  {asked / total:.1%}, neither {(total - flagged - asked) / total:.1%}"
    yield "annotated -> given: " + ", ".join(
        f"{wanted} -> {got} {n}" for (wanted, got), n in sorted(tally.items())
    )


@click.command()
@click.option("--split", type=click.Choice(SPLITS), default="dev", show_default=True)
def main(split: str) -> None:
    """Prints how many verdicts are right, and how many readings out of band are flagged."""
    passages = load_split(split)
    click.echo("\n".join([f"{split}: {len(passages)} passages", *table(counts(passages))]))


if __name__ == "__main__":
    main()
