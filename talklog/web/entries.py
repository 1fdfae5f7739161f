"""Pages of one entry: look, hear, correct, sign."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from talklog.corrected.fields import LONGEST_NAME, ROLES
from talklog.corrections import WHYS, Correction, correct
from talklog.errors import AudioError, CorrectionError, LogbookError
from talklog.logbook.kinds import Entry
from talklog.record import ServiceRecord, to_json
from talklog.report import html_report, text_report
from talklog.units import load_units, quantity_names
from talklog.web.drawings import waveform, window_of
from talklog.web.frame import form_of, number_of, page, person, problem, text_of, went, workshop
from talklog.web.items import Item, shown
from talklog.web.sound import PEAKS, Clip, Decoded, clip_of

MARGIN = 0.35  # seconds played before and after the words
_FIELDS = ("value", "unit", "quantity", "component", "position", "condition", "role")
_LARGEST = 1 << 60  # of a number in an address


def entry_page(request: Request) -> Response:
    """Everything of one entry, what is urgent first."""
    entry = _entry(request)
    book = workshop(request).book
    return page(
        request,
        "entry.html.j2",
        entry=entry,
        record=entry.record,
        title=entry.record.machine.name if entry.record.machine else "Machine not said",
        shown=shown(entry.record),
        revisions=book.revisions(entry.id),
        seals=book.seals(entry.id),
        roles=ROLES,
        whys=WHYS,
        units=tuple(load_units()),
        quantities=quantity_names(),
        components=sorted({one.component for one in entry.record.readings}),
        longest=LONGEST_NAME,
        has_sound=entry.audio_sha256 is not None,
        milliseconds=_milliseconds,
    )


async def correct_entry(request: Request) -> Response:
    """One correction -> a new revision, unless somebody else was quicker."""
    form = await form_of(request)
    entry = await run_in_threadpool(_entry, request)
    back = f"/entries/{entry.id}"
    try:
        who = person(request, form)
        base = number_of(form, "revision")
        made = await run_in_threadpool(_revise, request, entry, _correction(form, who), base)
    except CorrectionError as error:
        return problem(request, 400, str(error), back=f"{back}#{_slug(text_of(form, 'slug'))}")
    except _Overtaken as error:
        return problem(request, 409, str(error), back=back)
    return went(f"{back}#{_next(made, entry.record, text_of(form, 'slug'))}", who=who)


class _Overtaken(Exception):
    """Somebody else changed the entry meanwhile."""


def _revise(request: Request, entry: Entry, correction: Correction, base: int) -> ServiceRecord:
    book = workshop(request).book
    if base != entry.revisions:
        raise _Overtaken(_overtaken_text(entry, base))
    made = correct(entry.record, correction, sheet=workshop(request).sheet_of(entry.record))
    try:
        book.revise(entry.id, made.record, who=correction.who, what=made.what, base_revision=base)
    except LogbookError as error:
        if book.entry(entry.id).revisions != base:
            raise _Overtaken(_overtaken_text(book.entry(entry.id), base)) from error
        raise
    return made.record


def _overtaken_text(entry: Entry, base: int) -> str:
    return (
        f"Not saved: this entry was changed meanwhile, here or in another window (it is at "
        f"revision {entry.revisions}, you looked at {base}). Look at it again, then correct."
    )


def _correction(form: Any, who: str) -> Correction:
    kind = text_of(form, "kind")
    changes = {
        name: text_of(form, name)
        for name in _FIELDS
        if name in form and kind in ("correct", "read")
    }
    return Correction(
        kind=kind,
        who=who,
        group=text_of(form, "group"),
        index=number_of(form, "index"),
        changes=changes,
        why=text_of(form, "why"),
    )


def _next(made: ServiceRecord, before: ServiceRecord, slug: str) -> str:
    """Where to go on: the first open item after the one that was settled, in the old order."""
    order = [item.words for item in shown(before).everything]
    here = next((i.words for i in shown(before).everything if i.slug == slug), (0, 0))
    left = shown(made).left
    place = order.index(here) if here in order else 0
    later = [item for item in left if item.words in order[place:]]
    return (later or list(left) or [None])[0].slug if left else "sign"


def _slug(text: str) -> str:
    return text if text.isascii() and text.isalnum() and len(text) < 12 else ""


async def sign_entry(request: Request) -> Response:
    """Sign the revision that was looked at; the book seals it."""
    form = await form_of(request)
    entry = await run_in_threadpool(_entry, request)
    back = f"/entries/{entry.id}"
    try:
        who, base = person(request, form), number_of(form, "revision")
    except CorrectionError as error:
        return problem(request, 400, str(error), back=f"{back}#sign")
    if base != entry.revisions:
        return problem(request, 409, _overtaken_text(entry, base), back=back)
    if shown(entry.record).left and text_of(form, "anyway") != "yes":
        text = "Some items are still open. Look at them, or tick the box that says you sign anyway."
        return problem(request, 400, text, back=f"{back}#sign")
    seal = workshop(request).book.seal
    await run_in_threadpool(seal, entry.id, who=who, base_revision=base)
    return went(f"{back}#sign", who=who)


# ---- sound ---------------------------------------------------------------------------------------


def sound(request: Request) -> Response:
    """The seconds of an item, or the whole recording, as WAV; HTTP ranges are honoured."""
    decoded = _decoded(request)
    start, end = _span(request, default=(0.0, decoded.seconds))
    clip = clip_of(decoded, start, end)
    return _ranged(clip, request.headers.get("range", ""))


def wave(request: Request) -> Response:
    """The drawing of the sound around an item."""
    decoded = _decoded(request)
    start, end = _span(request, default=(0.0, decoded.seconds))
    window = window_of(start, end, decoded.seconds)
    drawn = waveform(decoded.peaks, PEAKS, start=start, end=end, window=window)
    keep = {"Cache-Control": "private, max-age=600"}
    return Response(drawn, media_type="image/svg+xml", headers=keep)


def _decoded(request: Request) -> Decoded:
    entry = _entry(request)
    path = workshop(request).book.audio_path(entry.id)
    if path is None or entry.audio_sha256 is None:
        raise HTTPException(404, "The recording of this entry was not kept.")
    try:
        return workshop(request).sounds.decoded(path, entry.audio_sha256)
    except AudioError as error:
        text = str(error).replace(str(path), "The recording")
        raise HTTPException(404, text) from error


def _span(request: Request, *, default: tuple[float, float]) -> tuple[float, float]:
    numbers = [request.path_params.get(name) for name in ("first", "last")]
    if None in numbers:
        return default
    if numbers[0] > numbers[1] or numbers[1] > _LARGEST:
        raise HTTPException(404, "There are no such seconds.")
    return numbers[0] / 1000, numbers[1] / 1000


def _ranged(clip: Clip, asked: str) -> Response:
    """RFC 9110, section 14: one range is answered with 206, one out of reach with 416; anything
    else is answered whole, as the standard allows."""
    last = clip.size - 1
    wanted = _range(asked, clip.size)
    headers = {"Accept-Ranges": "bytes", "Cache-Control": "private, max-age=600"}
    if wanted == ():
        return Response("", 416, {"Content-Range": f"bytes */{clip.size}"})
    first, last = wanted or (0, last)
    headers["Content-Length"] = str(last - first + 1)
    if wanted:
        headers["Content-Range"] = f"bytes {first}-{last}/{clip.size}"
    body: Iterator[bytes] = clip.part(first, last)
    return StreamingResponse(body, 206 if wanted else 200, headers, media_type="audio/wav")


def _range(asked: str, size: int) -> tuple[int, int] | tuple[()] | None:
    """First and last byte; nothing () when out of reach; ``None`` for no range that we know."""
    unit, equals, spec = asked.partition("=")
    first, dash, last = spec.strip().partition("-")
    plain = all(part == "" or (part.isascii() and part.isdigit()) for part in (first, last))
    if unit.strip() != "bytes" or not (equals and dash and plain and (first or last)):
        return None
    if len(first) > 18 or len(last) > 18:
        return ()
    if not first:
        return (max(size - int(last), 0), size - 1) if int(last) else ()
    if last and int(last) < int(first):
        return None
    return (int(first), min(int(last or size - 1), size - 1)) if int(first) < size else ()


def _milliseconds(item: Item) -> dict[str, int]:
    """Where an item is drawn and played: of the recording, in milliseconds."""
    start, end = item.start or 0.0, item.end or 0.0
    return {
        "start": round(start * 1000),
        "end": round(end * 1000),
        "from": round(max(start - MARGIN, 0) * 1000),
        "to": round((end + MARGIN) * 1000),
    }


# ---- the record in other forms -------------------------------------------------------------------


def record_file(request: Request) -> Response:
    """The record as JSON, as text, or as the printable sheet, which is a file of its own."""
    entry = _entry(request)
    form = request.path_params["form"]
    if form == "json":
        return Response(to_json(entry.record), media_type="application/json")
    if form == "txt":
        return Response(text_report(entry.record, name=entry.name), media_type="text/plain")
    if form != "html":
        raise HTTPException(404, "There is no such form of the record.")
    # Its styles stand inside it, which the policy of the page forbids: so it is saved, not shown.
    name = f'attachment; filename="record-{entry.id}.html"'
    sheet = html_report(entry.record, name=entry.name)
    return Response(sheet, media_type="text/html", headers={"Content-Disposition": name})


def _entry(request: Request) -> Entry:
    number = request.path_params["id"]
    if number > _LARGEST:
        raise HTTPException(404, "There is no such entry in this book.")
    try:
        return workshop(request).book.entry(number)
    except LogbookError as error:
        if "there is no entry" not in str(error):
            raise
        raise HTTPException(404, "There is no such entry in this book.") from error
