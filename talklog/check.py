"""Step 6: readings and the machine's bands -> verdicts. Knows nothing of how words were heard.

What may have been understood wrongly, and would be out of its band then, is asked about.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from talklog.bands import Band, BandSheet, plain_words
from talklog.notes import Meant, Notes, Perhaps, Reading, Unsure
from talklog.verdicts.flags import flags_of
from talklog.verdicts.judging import case_of, judge, judge_by, sentence
from talklog.verdicts.kinds import OUT, Checked, CheckedReading
from talklog.verdicts.meant_bands import Match, meant_bands
from talklog.verdicts.mistaken import mistaken_for, of_the_whole
from talklog.verdicts.names import described
from talklog.verdicts.outcomes import outcome_of

# How probable something else must be that was measured, to be asked about where it would be out.
MAY_BE = {"no_band": 0.002, "in_band": 0.2}


def check(notes: Notes, sheet: BandSheet | None) -> Checked:
    """Judge every reading by the sheet, and find what the sheet expects and nobody said.

    "inlet gap nought point four" against 0.20 to 0.30 mm: ``high``, with a flag of level look.
    Without a sheet every certain reading has the verdict ``no_band``.
    """
    first = [judge(reading, sheet) for reading in notes.readings]
    if sheet is None:
        return Checked(tuple(first), flags_of(first))
    words = frozenset(plain_words(" ".join(notes.words)))
    doubted = _Doubt(sheet, tuple(_free(sheet, first)), words)
    pairs = zip(notes.readings, first, strict=True)
    readings = tuple(doubted.judged(reading, own) for reading, own in pairs)
    asked = (line for one in notes.perhaps if (line := doubted.asked(one)) is not None)
    return Checked(readings, flags_of(readings, sheet.expects), tuple(asked))


def _free(sheet: BandSheet, judged: Iterable[CheckedReading]) -> Iterator[Band]:
    """The bands that count and by which nothing was judged."""
    used = [id(own.band) for own in judged]
    authority = sheet.machine.authority
    for band in sheet.bands:
        if id(band) not in used and (authority is None or band.authority in (None, authority)):
            yield band


@dataclass(frozen=True, slots=True)
class _Doubt:
    """Asks about what may be of something else, and would be out of its band then. ``free`` are the
    bands by which nothing was judged, ``words`` all words of the note."""

    sheet: BandSheet
    free: tuple[Band, ...]
    words: frozenset[str]

    def judged(self, reading: Reading, own: CheckedReading) -> CheckedReading:
        """``own``, unless the reading must be asked about."""
        least = MAY_BE.get(own.verdict)
        if least is None:
            return own
        likely = [other for other in reading.may_be if other.chance >= least]
        free: Iterable[Band] = ()
        if own.verdict == "no_band":
            likely += of_the_whole(reading, self.sheet)
            free = mistaken_for(reading, self.free, self.words)
        for what, found in (*self._meant(reading, likely), *_by_each(reading, free)):
            if found.verdict in OUT:
                text = f"{own.reason} It may be {what}. Then: {found.reason}"
                return CheckedReading(reading, "unsure", None, text)
        return own

    def _meant(
        self, reading: Reading, others: Iterable[Meant]
    ) -> Iterator[tuple[str, CheckedReading]]:
        for other in others:
            meant = replace(reading, quantity=other.quantity, component=other.component)
            yield described(meant), judge(meant, self.sheet)

    def asked(self, one: Perhaps) -> Unsure | None:
        """A line about a number that was not read and would be out of band, else nothing."""
        own = self.judged(one.reading, judge(one.reading, self.sheet))
        matches, _ = meant_bands(one.reading, self.sheet)
        doubtful = own.verdict == "unsure" and (not matches or _is_out(one.reading, matches))
        if own.verdict not in OUT and not doubtful:
            return None
        text = f"{sentence(one.why)} If it is {described(one.reading)}: {own.reason}"
        return Unsure(text, one.first, one.last)


def _is_out(reading: Reading, matches: Iterable[Match]) -> bool:
    """Whether a reading is out by one of several bands; without a unit, in theirs."""
    bands = [match.band for match in matches]
    found = (outcome_of(reading.value, reading.unit or band.unit, band) for band in bands)
    return any(outcome.verdict in OUT for outcome in found)


def _by_each(reading: Reading, bands: Iterable[Band]) -> Iterator[tuple[str, CheckedReading]]:
    for band in bands:
        yield f"{case_of(band)}: {band.quantity}", judge_by(reading, band)
