"""The routes of the review page, and the one place where an error becomes a page."""

from __future__ import annotations

from importlib.resources import files

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from talklog.errors import TalklogError
from talklog.web import entries, shelves
from talklog.web.frame import Workshop, problem
from talklog.web.safety import Safe

_STATIC = {
    "page.css": "text/css",
    "page.js": "text/javascript",
    "icon.svg": "image/svg+xml",
}
_TITLES = {404: "Not found.", 405: "That cannot be done here.", 413: "Too large."}


def make_site(workshop: Workshop) -> Safe:
    """The whole site behind its guard, as an ASGI application."""
    app = Starlette(
        routes=_routes(),
        exception_handlers={
            HTTPException: _refused,
            TalklogError: _told,
            Exception: _broken,
        },
    )
    app.state.workshop = workshop
    return Safe(app, workshop.guard)


def _routes() -> list[Route]:
    get, post = ["GET"], ["POST"]
    entry = "/entries/{id:int}"
    return [
        Route("/", shelves.entries_page, methods=get),
        Route("/machines", shelves.machines_page, methods=get),
        Route("/machine", shelves.machine_page, methods=get),
        Route("/history", shelves.history_page, methods=get),
        Route("/due", shelves.due_page, methods=get),
        Route("/due/done", shelves.done, methods=post),
        Route("/search", shelves.search_page, methods=get),
        Route("/who", shelves.give_name, methods=post),
        Route("/take", shelves.take_page, methods=get),
        Route("/take", shelves.take, methods=post),
        Route(entry, entries.entry_page, methods=get),
        Route(f"{entry}/correct", entries.correct_entry, methods=post),
        Route(f"{entry}/sign", entries.sign_entry, methods=post),
        Route(f"{entry}/sound.wav", entries.sound, methods=get),
        Route(f"{entry}/sound/{{first:int}}-{{last:int}}.wav", entries.sound, methods=get),
        Route(f"{entry}/wave/{{first:int}}-{{last:int}}.svg", entries.wave, methods=get),
        Route(f"{entry}/record.{{form}}", entries.record_file, methods=get),
        Route("/static/{name}", _static, methods=get),
    ]


def _static(request: Request) -> Response:
    """One of the files named above, and no other."""
    name = request.path_params["name"]
    if name not in _STATIC:
        raise HTTPException(404)
    data = (files("talklog") / "web" / "static" / name).read_bytes()
    keep = {"Cache-Control": "private, max-age=60"}
    return Response(data, media_type=_STATIC[name], headers=keep)


def _refused(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 400
    said = getattr(error, "detail", "")
    plain = _TITLES.get(status, "That did not work.")
    return problem(request, status, said if " " in said and said != "Not Found" else plain)


def _told(request: Request, error: Exception) -> Response:
    return problem(request, 500, str(error))


def _broken(request: Request, error: Exception) -> Response:
    text = "Something went wrong inside talklog; nothing was changed. The terminal shows more."
    return problem(request, 500, text)
