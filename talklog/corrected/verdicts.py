"""A reading as it was corrected -> its verdict."""

from __future__ import annotations

from talklog import notes
from talklog.bands import BandSheet
from talklog.check import check
from talklog.corrected.as_checked import band_carried, certain_reading
from talklog.corrected.fields import same
from talklog.record import Reading, ServiceRecord
from talklog.verdicts.judging import judge_by
from talklog.verdicts.kinds import CheckedReading
from talklog.verdicts.outcomes import limits_of

_THING = ("component", "quantity")  # another one of these is another thing, with other limits


def judged_again(
    record: ServiceRecord, after: Reading, before: Reading | None, *, sheet: BandSheet | None
) -> CheckedReading:
    """By the band the reading carries, as long as it is a reading of the same thing; else by the
    sheet; and without one it is not judged, and says so."""
    plain = certain_reading(after)
    carried = band_carried(record, before) if before else None
    if carried and before and same(before, after, _THING):
        judged = judge_by(plain, carried)
        return _with_more(judged, _moved(before, after))
    if sheet is not None:
        return check(notes.Notes(readings=(plain,)), sheet).readings[0]
    if carried:
        return _doubtful(plain, judge_by(plain, carried), before)
    if record.machine is None:
        return judge_by(plain, None)
    if before and before.verdict == "unsure":
        return CheckedReading(plain, "unsure", None, before.reason)
    return CheckedReading(plain, "no_band", None, "Not judged: the band sheet is not at hand.")


def _moved(before: Reading, after: Reading) -> str:
    """What to say when the limits were those of another place of the same thing."""
    if same(before, after, ("position", "condition")):
        return ""
    old = " ".join(filter(None, (before.position, before.condition))) or "no place in particular"
    return f"The limits are those it was heard with, for {old}."


def _doubtful(plain: notes.Reading, by_old: CheckedReading, before: Reading) -> CheckedReading:
    """Another thing than the one the limits were for."""
    band = by_old.band
    text = (
        f"The limits it was heard with, {limits_of(band)} ({band.source}), were for "
        f"{before.component}: {before.quantity}; accept it if they hold. By them: {by_old.reason}"
    )
    return CheckedReading(plain, "unsure", band, text)


def _with_more(judged: CheckedReading, more: str) -> CheckedReading:
    text = f"{judged.reason} {more}".strip()
    return CheckedReading(judged.reading, judged.verdict, judged.band, text)
