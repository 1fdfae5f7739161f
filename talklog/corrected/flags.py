"""A record with a reading that was corrected -> what is still unsure in it, and its flags."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from talklog.bands import BandSheet
from talklog.corrected.as_checked import as_checked
from talklog.record import Flag, Reading, ServiceRecord, Unsure
from talklog.verdicts.flags import flags_of
from talklog.verdicts.kinds import CheckedReading
from talklog.verdicts.names import described


def still_unsure(
    record: ServiceRecord, reading: Reading, judged: CheckedReading | None
) -> tuple[Unsure, ...]:
    """What is left to ask once somebody has looked at a reading: nothing about its words, unless
    another reading of the same words, or a new verdict on it, is unsure."""
    asking = [
        one.words for one in record.readings if one.verdict == "unsure" and one is not reading
    ]
    left = [
        one
        for one in record.unsure
        if not _overlap(one.words, reading.words)
        or any(_overlap(one.words, words) for words in asking)
    ]
    if judged is not None and judged.verdict == "unsure":
        left.append(Unsure(heard=reading.heard, words=reading.words, why=judged.reason))
    return tuple(sorted(left, key=lambda one: one.words))


def _overlap(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return one[0] <= other[1] and other[0] <= one[1]


def flagged(
    old: ServiceRecord,
    made: ServiceRecord,
    judged: Mapping[int, CheckedReading],
    *,
    sheet: BandSheet | None,
) -> ServiceRecord:
    """Flags worked out anew. Those about readings that did not change stay word for word; what a
    sheet expects is looked at again only if the sheet is there."""
    checked = [
        judged.get(place) or as_checked(made, reading)
        for place, reading in enumerate(made.readings)
    ]
    expects = sheet.expects if sheet else ()
    fresh = [_as_before(flag, old.flags) for flag in flags_of(checked, expects)]
    if sheet is None:
        fresh += [f for f in old.flags if not any(_speaks_of(f, r) for r in old.readings)]
    levels = ("stop", "look", "note")
    return made.model_copy(
        update={"flags": tuple(sorted(fresh, key=lambda flag: levels.index(flag.level)))}
    )


def _as_before(flag: Any, old: Iterable[Flag]) -> Flag:
    """The flag as it was worded, if it was there: a record's reasons hold more than a flag says."""
    made = Flag(level=flag.level, about=flag.about, text=flag.text)
    same = (one for one in old if (one.level, one.about) == (made.level, made.about))
    return next((one for one in same if made.text.endswith(one.text)), made)


def _speaks_of(flag: Flag, reading: Reading) -> bool:
    """Is the flag about this reading? Its text starts with the last sentences of the reason."""
    if flag.about != described(reading):
        return False
    ends = (match.end() for match in re.finditer(r"[.?!:”] ", reading.reason))
    return any(flag.text.startswith(reading.reason[start:]) for start in (0, *ends))
