"""Whether readings of hand-written notes get the verdict that they should: right ones, out of band.

    python -m models.extractor.verdicts [--split dev|check|test|train] [--paused] [--placed]
        [--only NAME] [--most COUNT]

The notes have no spec bands, so each passage gets a sheet of its own: one invented band for each
thing and quantity that was annotated with a unit (with --placed one for each of its places), laid
around the annotated value or, for every other one, beside it. The annotated reading, judged by that
band, says what the verdict should be. A band has the name of its thing as annotated and as the
vocabulary has it. What was not read but is asked about as words that could not be placed counts as
asked about.

**False alarms** are counted three ways: readings inside their band that are flagged, or asked about
only because of a band; the same of readings whose own band was left out of the sheet, as real
sheets limit only a part of what is measured (every other band is left out for this); and lines
about words that are no annotated reading.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from decimal import Decimal
from zlib import crc32

import click

from models.extractor.passages import SPLITS, Item, Passage, load_split
from models.extractor.scoring import component_words, match, transcript_of
from talklog.assemble import understand
from talklog.bands import Band, BandSheet, Machine
from talklog.check import check
from talklog.notes import Notes, Reading
from talklog.transcript import Transcript
from talklog.verdicts.judging import judge_by
from talklog.verdicts.kinds import OUT, Checked, CheckedReading

INSIDE, BESIDE = Decimal("0.2"), Decimal("0.1")  # of the value: width of a band, distance from it
KINDS = 3  # a band around the value, one below it, one above it
FLAGGED = (*OUT, "unit_mismatch")
BY_BAND = "asked by band"
ASKED, ALARMS = ("unsure", BY_BAND), (*FLAGGED, BY_BAND)
LEFT_OUT, ELSEWHERE = "left out", "no reading"  # of which nothing should be said
Understand = Callable[[Transcript], Notes]


def bands_of(passage: Passage, *, placed: bool = False) -> tuple[Band, ...]:
    """One band for each quantity of each named thing that was read with a unit, and, if ``placed``,
    for each of its places; the last value of a thing decides where it lies. The passage's name
    decides whether it is kept."""
    found: dict[tuple[str, str, str | None], Band] = {}
    for at, item in enumerate(passage.lists["readings"]):
        name, place = _name_of(item), item["position"] if placed else None
        if name and item["unit"]:
            kind = crc32(f"{passage.source} {passage.id} {at}".encode()) % KINDS
            before = found.get((item["quantity"], name, place))
            names = (*(before.also if before else ()), item["component"])
            band = replace(
                _band(item, name, kind), also=tuple(dict.fromkeys(names)), position=place
            )
            found[item["quantity"], name, place] = band
    return tuple(found.values())


def _name_of(item: Item) -> str:
    return " ".join(component_words(item["component"]))


def _band(item: Item, name: str, kind: int) -> Band:
    value = Decimal(item["value"])
    away = abs(value) * BESIDE or Decimal(1)
    low, high = (
        (value - 2 * away, value + 2 * away),
        (value - abs(value) * INSIDE - 2 * away, value - away),
        (value + away, value + abs(value) * INSIDE + 2 * away),
    )[kind]
    return Band(item["quantity"], name, "invented for this measurement", item["unit"], low, high)


def counts(
    passages: Iterable[Passage], *, placed: bool = False, understand: Understand = understand
) -> Counter[tuple[str, str]]:
    """(wanted, got) -> how many annotated readings. wanted: in_band, low, high; got: a verdict, or
    "another value" where the note was read otherwise, or "not read"; "asked by band" is a verdict
    of unsure that only the band brought."""
    tally: Counter[tuple[str, str]] = Counter()
    for passage in passages:
        bands = bands_of(passage, placed=placed)
        if bands:
            said = understand(transcript_of(passage.words, passage.pauses))
            tally.update(_pairs(passage, said, _sheet(bands)))
            tally.update(_alarms(passage, said, bands))
    return tally


def _sheet(bands: Iterable[Band]) -> BandSheet:
    return BandSheet(Machine("notes", "Notes"), tuple(bands))


def _pairs(passage: Passage, said: Notes, sheet: BandSheet) -> Iterator[tuple[str, str]]:
    checked = check(said, sheet)
    got_of = _matched(passage, checked)
    for item in passage.lists["readings"]:
        wanted = _wanted(item, sheet)
        if wanted is not None:
            yield wanted, _got(got_of.get(id(item)), item, _is_asked(item, said, checked))


def _matched(passage: Passage, checked: Checked) -> dict[int, CheckedReading]:
    """Annotations, by identity, with what was read there."""
    by_reading = {id(own.reading): own for own in checked.readings}
    readings = [own.reading for own in checked.readings]
    pairs = match(readings, passage.lists["readings"], _same_value)
    return {id(item): by_reading[id(got)] for got, item in pairs}


def _is_asked(item: Item, said: Notes, checked: Checked) -> bool:
    """Whether the words of a reading are asked about, though they were not read."""
    lines = (*said.unsure, *checked.asked)
    return any(one.first <= item.last and item.first <= one.last for one in lines)


def _same_value(got: Reading, item: Item) -> bool:
    return got.value == Decimal(item["value"])


def _band_for(item: Item, bands: Iterable[Band]) -> Band | None:
    key = (item["quantity"], _name_of(item))
    own = [band for band in bands if (band.quantity, band.component) == key and item["unit"]]
    placed = (band for band in own if band.position == item["position"])
    return next(placed, next((band for band in own if band.position is None), None))


def _wanted(item: Item, sheet: BandSheet) -> str | None:
    band = _band_for(item, sheet.bands)
    if band is None:
        return None
    reading = Reading(
        quantity=item["quantity"], component=band.component, position=None, condition=None,
        value=Decimal(item["value"]), said=item["value"], unit=item["unit"], role=item["role"],
        first=item.first, last=item.last, reason="annotated",
    )  # fmt: skip
    return judge_by(reading, band).verdict


def _got(checked: CheckedReading | None, item: Item, asked: bool) -> str:
    if checked is None:
        return "unsure" if asked else "not read"
    if checked.verdict == "unsure":
        return BY_BAND if _is_by_band(checked) else "unsure"
    right = _same_value(checked.reading, item)
    return checked.verdict if right else "unsure" if asked else "another value"


# ---- where nothing should be said ----------------------------------------------------------------


def _alarms(passage: Passage, said: Notes, bands: tuple[Band, ...]) -> Iterator[tuple[str, str]]:
    """Readings of which every other band is left out, and lines about what is no reading."""
    whole = check(said, _sheet(bands))
    yield from ((ELSEWHERE, verdict) for verdict in _elsewhere(passage, said, whole))
    for kept in filter(None, (bands[::2], bands[1::2])):
        got_of = _matched(passage, checked := check(said, _sheet(kept)))
        for item in passage.lists["readings"]:
            if _band_for(item, bands) is not None and _band_for(item, kept) is None:
                asked = _is_asked(item, Notes(), checked)
                yield LEFT_OUT, _got(got_of.get(id(item)), item, asked)


def _elsewhere(passage: Passage, said: Notes, checked: Checked) -> Iterator[str]:
    """Verdicts on what is no reading; of lines only those on what was not asked about before."""
    real = {id(own) for own in _matched(passage, checked).values()}
    for own in checked.readings:
        if id(own) not in real:
            yield BY_BAND if _is_by_band(own) else own.verdict
    known = (*passage.lists["readings"], *said.unsure)
    for one in checked.asked:
        if not any(one.first <= own.last and own.first <= one.last for own in known):
            yield BY_BAND


def _is_by_band(checked: CheckedReading) -> bool:
    return checked.verdict == "unsure" and checked.reading.doubt is None


def table(tally: Counter[tuple[str, str]]) -> Iterator[str]:
    """Lines of figures."""
    judged = {k: n for k, n in tally.items() if k[0] not in (LEFT_OUT, ELSEWHERE)}
    read = {k: n for k, n in judged.items() if k[1] not in ("not read", "another value")}
    right = sum(n for (wanted, got), n in read.items() if wanted == got)
    asked = _sum(read, got=ASKED)
    none = _sum(read, got=("no_band",))
    all_ = sum(read.values())
    yield f"read with the value annotated, or asked: {all_} of {sum(judged.values())} with a band"
    yield f"  verdict right {right / all_:.1%}, asked {asked / all_:.1%}, no band {none / all_:.1%}"
    yield f"  verdict wrong {(all_ - right - asked - none) / all_:.1%}"
    given = all_ - asked - none
    yield f"  of the {given} verdicts given {right / max(given, 1):.1%} are right (target 99 %)"
    out = {k: n for k, n in judged.items() if k[0] in OUT}
    total = sum(out.values())
    flagged = sum(n for (wanted, got), n in out.items() if got == wanted)
    asked = _sum(out, got=ASKED)
    yield f"out of band: {total}, flagged {flagged / total:.1%} (target 99 %), asked about "
    yield f"  {asked / total:.1%}, neither {(total - flagged - asked) / total:.1%}"
    yield from _alarm_lines(tally)
    yield "annotated -> given: " + ", ".join(
        f"{wanted} -> {got} {n}" for (wanted, got), n in sorted(tally.items())
    )


def _alarm_lines(tally: Counter[tuple[str, str]]) -> Iterator[str]:
    names = {"in_band": "inside their band", LEFT_OUT: "whose band was left out"}
    for wanted, name in names.items():
        own = {k: n for k, n in tally.items() if k[0] == wanted}
        alarms, total = _sum(own, got=ALARMS), sum(own.values())
        yield f"false alarms: {alarms} of {total} readings {name} ({alarms / max(total, 1):.1%})"
    own = {k: n for k, n in tally.items() if k[0] == ELSEWHERE}
    yield f"  and {_sum(own, got=ALARMS)} lines about what is no reading"


def _sum(tally: Mapping[tuple[str, str], int], *, got: tuple[str, ...]) -> int:
    return sum(n for key, n in tally.items() if key[1] in got)


@click.command()
@click.option("--split", type=click.Choice(SPLITS), default="dev", show_default=True)
@click.option("--paused", is_flag=True, help="With the pauses that readers of the notes heard.")
@click.option("--placed", is_flag=True, help="With a band for each place of a thing.")
@click.option("--only", default=".", help="Passages whose file matches this expression.")
@click.option("--most", type=int, help="So many of them, spread over all.")
def main(split: str, paused: bool, placed: bool, only: str, most: int | None) -> None:
    """Prints how many verdicts are right, how many readings out of band are flagged, and how many
    within it are remarked upon."""
    found = [p for p in load_split(split, paused=paused) if re.search(only, p.source)]
    passages = found[:: max(1, len(found) // most)] if most else found
    click.echo(
        "\n".join([f"{split}: {len(passages)} passages", *table(counts(passages, placed=placed))])
    )


if __name__ == "__main__":
    main()
