"""What the handlers of the page share: the book and its helpers, templates, forms, errors."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any
from urllib.parse import quote, unquote

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from talklog.bands import BandSheet
from talklog.errors import CorrectionError
from talklog.logbook.store import Logbook
from talklog.record import ServiceRecord
from talklog.web.safety import Guard
from talklog.web.sound import SoundStore

WHO = "talklog_who"  # cookie: the name of the person at the page
_YEAR = 365 * 24 * 3600


@dataclass(frozen=True, slots=True)
class Workshop:
    """All that the pages work with. ``take`` and ``read`` make records of a file and of a text
    (see ``intake``); ``sheet_of`` finds the band sheet of a record's machine; ``machine_keys``
    lists the machines that have one."""

    book: Logbook
    sounds: SoundStore
    guard: Guard
    take: Callable[..., ServiceRecord]
    read: Callable[..., ServiceRecord]
    sheet_of: Callable[[ServiceRecord], BandSheet | None]
    machine_keys: Callable[[], tuple[str, ...]]


def workshop(request: Request) -> Workshop:
    """The workshop of the site a request belongs to."""
    return request.app.state.workshop


def who_of(request: Request) -> str:
    """The name given at this browser, or nothing."""
    return unquote(request.cookies.get(WHO, ""))[:80]


def page(request: Request, template: str, /, *, status: int = 200, **known: Any) -> Response:
    """A page of a template. Everything put in is escaped."""
    common = {
        "token": workshop(request).guard.token,
        "who": who_of(request),
        "here": request.url.path,
    }
    return HTMLResponse(_templates().get_template(template).render(common | known), status)


@lru_cache(maxsize=1)
def _templates() -> Any:
    from jinja2 import DictLoader, Environment, StrictUndefined

    folder = files("talklog") / "web" / "templates"
    texts = {item.name: item.read_text("utf-8") for item in folder.iterdir()}
    return Environment(
        loader=DictLoader(texts),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


async def form_of(request: Request) -> FormData:
    """The fields of a form that carries our token. Raises HTTPException 403 otherwise."""
    form = await request.form(max_files=1, max_fields=40, max_part_size=2_000_000)
    if not workshop(request).guard.is_own_form(form.get("token")):
        raise HTTPException(403, "The page is from before a restart. Load it again, then repeat.")
    return form


def text_of(form: Mapping[str, Any], name: str) -> str:
    """A text field; nothing where it is missing or a file."""
    value = form.get(name, "")
    return value if isinstance(value, str) else ""


def number_of(form: Mapping[str, Any], name: str) -> int:
    """A whole number in a form. Raises CorrectionError."""
    text = text_of(form, name)
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise CorrectionError(f"{name} is no number; load the page again.")
    return int(text)


def person(request: Request, form: Mapping[str, Any]) -> str:
    """Who is doing this: as typed in the form, else as given before. Raises CorrectionError."""
    name = " ".join((text_of(form, "who") or who_of(request)).split())
    if not name or len(name) > 80 or not name.isprintable():
        raise CorrectionError("Give your name first, at the top of the page: the record keeps it.")
    return name


def went(target: str, *, who: str = "") -> Response:
    """After a change: see the page again. Remembers who did it."""
    response = RedirectResponse(target, 303)
    if who:
        response.set_cookie(WHO, quote(who), max_age=_YEAR, httponly=True, samesite="strict")
    return response


def problem(request: Request, status: int, text: str, *, back: str = "/") -> Response:
    """A page that says what went wrong and where to go on."""
    return page(request, "problem.html.j2", status=status, text=text, back=back)
