"""All steps in a row: a file of speech or text in, a ServiceRecord out."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from talklog.assemble import understand
from talklog.cautions import find_cautions
from talklog.check import check
from talklog.days import dated
from talklog.handsfree import PassedOver, obey, passed_over
from talklog.new_record import make_record
from talklog.record import ServiceRecord
from talklog.sheets import NamedSheet
from talklog.transcript import Transcript
from talklog.verdicts.kinds import Checked, Flag


def record_of(
    transcript: Transcript, *, sheet: NamedSheet | None = None, said_on: date | None = None
) -> ServiceRecord:
    """The checked record of what was said. Without a sheet no reading is judged; without the day
    it was ``said_on`` a "friday" stays a word.

    "inlet gap nought point two five" -> a record with one reading of 0.25 and no unit.
    Raises TalklogError for a broken data file.
    """
    note = obey(transcript)
    notes = dated(understand(note), said_on)
    checked = _with_pauses(check(notes, sheet.sheet if sheet else None), transcript)
    warned = find_cautions(note, notes, sheet=sheet.name if sheet else None)
    machine = sheet.sheet.machine if sheet else None
    return make_record(transcript, notes, checked, machine=machine, warned=warned)


def _with_pauses(checked: Checked, transcript: Transcript) -> Checked:
    """Says in the record what was passed over: whoever reads it must know that more was said."""
    flags = [
        Flag("note", "listening was paused by voice", f"Not understood: {_told(transcript, span)}.")
        for span in passed_over(transcript)
    ]
    return replace(checked, flags=(*checked.flags, *flags))


def _told(transcript: Transcript, span: PassedOver) -> str:
    count = span.last - span.first + 1
    start, end = transcript.words[span.first].start, transcript.words[span.last].end
    when = f" from second {start:.0f} to {end:.0f}" if start is not None else ""
    return f"{count} {'word' if count == 1 else 'words'}{when}"
