"""Step 6: readings and the machine's bands -> verdicts. Knows nothing of how words were heard.

What may be of something else, and would be out of its band then, is asked about.
"""

from __future__ import annotations

from dataclasses import replace

from talklog.bands import BandSheet, Machine
from talklog.notes import Meant, Notes, Reading
from talklog.verdicts.flags import flags_of
from talklog.verdicts.judging import judge
from talklog.verdicts.kinds import OUT, Checked, CheckedReading
from talklog.verdicts.names import described

WHOLE = ("set", "unit", "machine")  # words that are part of the name of any machine
# How probable something else must be that was measured, to be asked about where it would be out.
MAY_BE = {"no_band": 0.002, "in_band": 0.2}


def check(notes: Notes, sheet: BandSheet | None) -> Checked:
    """Judge every reading by the sheet, and find what the sheet expects and nobody said.

    "inlet gap nought point four" against 0.20 to 0.30 mm: ``high``, with a flag of level look.
    Without a sheet every certain reading has the verdict ``no_band``.
    """
    readings = tuple(_judged_safely(reading, sheet) for reading in notes.readings)
    return Checked(readings, flags_of(readings, sheet.expects if sheet else ()))


def _judged_safely(reading: Reading, sheet: BandSheet | None) -> CheckedReading:
    """As ``judge``; but what may be of something else, and out of its band then, is asked
    about."""
    own = judge(reading, sheet)
    least = MAY_BE.get(own.verdict)
    if sheet is None or least is None:
        return own
    alternatives = reading.may_be
    if own.verdict == "no_band" and _is_whole_machine(reading.component, sheet.machine):
        alternatives = (*alternatives, *_only_one(reading.quantity, sheet))
    for other in alternatives:
        meant = replace(reading, quantity=other.quantity, component=other.component)
        found = judge(meant, sheet) if other.chance >= least else own
        if found.verdict in OUT:
            what = f"It may be {described(meant)}. Then: {found.reason}"
            return CheckedReading(reading, "unsure", None, f"{own.reason} {what}")
    return own


def _is_whole_machine(component: str, machine: Machine) -> bool:
    """ "generator set" where the sheet is that of the "Standby generator"."""
    own = {*f"{machine.name} {machine.kind}".lower().split(), *WHOLE}
    return set(component.split()) <= own


def _only_one(quantity: str, sheet: BandSheet) -> tuple[Meant, ...]:
    """The one thing of which the sheet limits that quantity: it may be meant where the whole
    machine was named."""
    things = {band.component for band in sheet.bands if band.quantity == quantity}
    return tuple(Meant(quantity, thing, 1.0) for thing in things) if len(things) == 1 else ()
