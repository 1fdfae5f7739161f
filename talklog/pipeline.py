"""All steps in a row: a file of speech or text in, a ServiceRecord out."""

from __future__ import annotations

from talklog.assemble import understand
from talklog.cautions import find_cautions
from talklog.check import check
from talklog.handsfree import obey
from talklog.record import ServiceRecord, make_record
from talklog.sheets import NamedSheet
from talklog.transcript import Transcript


def record_of(transcript: Transcript, *, sheet: NamedSheet | None = None) -> ServiceRecord:
    """The checked record of what was said. Without a sheet no reading is judged.

    "inlet gap nought point two five" -> a record with one reading of 0.25 and no unit.
    Raises TalklogError for a broken data file.
    """
    transcript = obey(transcript)
    notes = understand(transcript)
    checked = check(notes, sheet.sheet if sheet else None)
    warned = find_cautions(transcript, notes, sheet=sheet.name if sheet else None)
    machine = sheet.sheet.machine if sheet else None
    return make_record(transcript, notes, checked, machine=machine, warned=warned)
