"""Pages of the whole book: entries, machines, history, due, search, and the way in."""

from __future__ import annotations

import shutil
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from talklog.errors import CorrectionError, LogbookError, TalklogError, UnitError
from talklog.inputs import AUDIO_SUFFIXES
from talklog.logbook.due import due_items
from talklog.logbook.history import Point, groups, history, replaced
from talklog.logbook.latest import latest
from talklog.report import VERDICTS, quantity
from talklog.units import weighed
from talklog.web.drawings import Spot, plot
from talklog.web.frame import form_of, number_of, page, person, problem, text_of, went, workshop

PAGE = 40  # entries of a list
MOST = 400  # readings drawn in one plot
LISTED = 200  # things to do
OUT = ("low", "high", "unit_mismatch")


def entries_page(request: Request) -> Response:
    """The newest entries, of all machines or of one."""
    machine = request.query_params.get("machine") or None
    if machine:
        _known(workshop(request).book.machine, machine)
    found = workshop(request).book.entries(machine=machine, limit=PAGE + 1, before=_before(request))
    return page(
        request,
        "entries.html.j2",
        entries=found[:PAGE],
        machine=machine,
        older=found[PAGE - 1].id if len(found) > PAGE else None,
    )


def _before(request: Request) -> int | None:
    text = request.query_params.get("before", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 18 else None


def machines_page(request: Request) -> Response:
    """All machines with what is open on each."""
    return page(request, "machines.html.j2", machines=workshop(request).book.machines())


def machine_page(request: Request) -> Response:
    """One machine: what is due, what was measured, what was fitted."""
    book = workshop(request).book
    key = request.query_params.get("key", "")
    known = _known(book.machine, key)
    return page(
        request,
        "machine.html.j2",
        known=known,
        due=due_items(book, machine=key, most=PAGE),
        lines=latest(book, key),
        fitted=replaced(book, key)[-PAGE:],
        entries=book.entries(machine=key, limit=10),
        quantity=quantity,
        verdicts=VERDICTS,
    )


def history_page(request: Request) -> Response:
    """One quantity of one component over time, drawn and as a table."""
    book = workshop(request).book
    asked = (request.query_params.get(n, "") for n in ("key", "component", "position", "quantity"))
    key, component, position, name = asked
    known = _known(book.machine, key)
    found = history(book, key, component=component, quantity=name)
    points = groups(found).get((component, position, name), [])
    if not points:
        raise HTTPException(404, "Nothing was measured there.")
    return page(
        request,
        "history.html.j2",
        known=known,
        component=", ".join(filter(None, (component, position))),
        name=name,
        points=points[::-1][:MOST],
        drawn=_drawn(points[-MOST:], f"{component} {position}: {name} of {known.machine.name}"),
        quantity=quantity,
        verdicts=VERDICTS,
    )


def _drawn(points: list[Point], title: str) -> str:
    """The plot, in the unit of the last limits or of the last reading; nothing if none fits."""
    unit = points[-1].band_unit or points[-1].unit
    spots = []
    for one in points:
        value = _in_unit(one.value, one.unit, unit)
        if value is not None:
            told = f"{one.said_at[:10]}: {quantity(one.value, one.unit)}, {VERDICTS[one.verdict]}"
            spots.append(Spot(one.day, value, one.verdict in OUT, told))
    if not spots:
        return ""
    limits = [_in_unit(text, points[-1].band_unit, unit) for text in
              (points[-1].band_low, points[-1].band_high)]  # fmt: skip
    return plot(spots, title=title, unit=unit or "", low=limits[0], high=limits[1])


def _in_unit(text: str | None, unit: str | None, to: str | None) -> float | None:
    """A value in another unit; ``None`` where that has no meaning."""
    if text is None or (unit is None) != (to is None):
        return None
    try:
        return float(weighed(Decimal(text), unit, to) if unit and to else Decimal(text))
    except UnitError:
        return None


def _known(find: Any, key: str) -> Any:
    try:
        return find(key)
    except LogbookError as error:
        raise HTTPException(404, f"The book has no machine {key!r}.") from error


def due_page(request: Request) -> Response:
    """What is still to do, the most urgent first."""
    found = due_items(workshop(request).book, most=LISTED + 1)
    return page(request, "due.html.j2", due=found[:LISTED], more=len(found) > LISTED)


async def done(request: Request) -> Response:
    """A thing to do was done."""
    form = await form_of(request)
    try:
        who, entry = person(request, form), number_of(form, "entry")
        mark = workshop(request).book.mark_done
        await run_in_threadpool(mark, entry, text_of(form, "place"), who=who)
    except (CorrectionError, LogbookError) as error:
        return problem(request, 400, str(error), back="/due")
    return went("/due", who=who)


def search_page(request: Request) -> Response:
    """Entries in which the words stand."""
    text = request.query_params.get("q", "")[:200]
    found = workshop(request).book.search(text) if text.strip() else []
    return page(request, "search.html.j2", text=text, hits=found)


async def give_name(request: Request) -> Response:
    """Remember who is at this browser."""
    form = await form_of(request)
    try:
        who = person(request, form)
    except CorrectionError as error:
        return problem(request, 400, str(error))
    back = text_of(form, "back")
    known = back.startswith("/entries/") and back.removeprefix("/entries/").isdigit()
    return went(back if known or back == "/due" else "/", who=who)


# ---- the way in ----------------------------------------------------------------------------------


def take_page(request: Request) -> Response:
    """The forms for a recording and for a typed note."""
    return page(request, "take.html.j2", machines=workshop(request).machine_keys())


async def take(request: Request) -> Response:
    """A recording or a typed note into the book."""
    form = await form_of(request)
    try:
        machine = text_of(form, "machine") or None
        if machine is not None and machine not in workshop(request).machine_keys():
            raise CorrectionError("That machine has no band sheet here; choose one of the list.")
        number = await run_in_threadpool(_put_in, request, form, machine)
    except TalklogError as error:
        return problem(request, 400, str(error), back="/take")
    return went(f"/entries/{number}")


def _put_in(request: Request, form: Any, machine: str | None) -> int:
    upload, note = form.get("recording"), text_of(form, "note")
    shop = workshop(request)
    if note.strip():
        record = shop.read(note, machine=machine)
        return shop.book.add(record, audio=None, name="typed note").id
    if not isinstance(upload, UploadFile) or not upload.size:
        raise CorrectionError("Choose a recording, or type a note.")
    name = _shown_name(upload.filename or "")
    with TemporaryDirectory(prefix="talklog-") as folder:
        # Of the name only an ending that we know ourselves is used on the disk.
        suffix = next((s for s in sorted(AUDIO_SUFFIXES) if name.lower().endswith(s)), "")
        path = Path(folder) / f"note{suffix}"
        with path.open("wb") as file:
            shutil.copyfileobj(upload.file, file)
        record = shop.take(path, name=name, machine=machine)
        return shop.book.add(record, audio=path, name=name).id


def _shown_name(name: str) -> str:
    """A file name for showing: no folders, nothing that cannot be printed."""
    last = name.replace("\\", "/").rpartition("/")[2]
    plain = "".join(sign for sign in last if sign.isprintable()).strip()
    return plain[-80:] or "recording"
