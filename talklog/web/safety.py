"""What stands between the page and everybody else on the web: an ASGI wrapper around the site.

Another page in the same browser must not be able to read the book (Host, against rebound names)
or to change it (Origin and a token, against forged forms), nor may anything in a record run in the
page (Content-Security-Policy). Requests that are too large are refused before they are read.
"""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass, field
from hmac import compare_digest
from typing import Any

from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

FORM_BYTES = 64_000  # a form of the page is far smaller
UPLOAD_BYTES = 1_000_000_000  # twelve hours of FLAC at 16 kHz; longer is no note
UPLOADS = "/take"
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Other sites get no referrer. With "no-referrer" the page's own forms would come with the
    # Origin "null" (Fetch standard, "append a request Origin header") and could not be told.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


@dataclass(frozen=True, slots=True)
class Guard:
    """Which names the page is reached by ("127.0.0.1:8765"), and the token of its forms, new with
    every start."""

    hosts: frozenset[str]
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    upload_bytes: int = UPLOAD_BYTES

    def is_own_form(self, token: object) -> bool:
        """Does a form carry our token?"""
        return isinstance(token, str) and compare_digest(token.encode(), self.token.encode())


def names_of(address: str, port: int) -> frozenset[str]:
    """The Host headers a browser sends for an address: of this machine, every name of it."""
    loopback = {"127.0.0.1", "localhost", "[::1]"}
    shown = f"[{address}]" if ":" in address else address
    return frozenset(f"{name}:{port}" for name in (loopback if shown in loopback else {shown}))


class Safe:
    """The site behind its guard."""

    def __init__(self, app: App, guard: Guard) -> None:
        self.app, self.guard = app, guard

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        sender = _with_headers(send)
        headers = _headers(scope)
        refused = self._refusal(scope, headers)
        if refused:
            await PlainTextResponse(refused[1], status_code=refused[0])(scope, receive, sender)
            return
        limit = self._limit(scope)
        await self.app(scope, _counted(receive, limit), sender)

    def _refusal(self, scope: Scope, headers: dict[str, list[str]]) -> tuple[int, str] | None:
        """Status and words for a request that is not even looked at."""
        if not _only(headers.get("host", []), self.guard.hosts):
            return 421, "This is not the address of this page.\n"
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "This page knows GET, HEAD and POST.\n"
        if scope["method"] != "POST":
            return None
        origins = frozenset(f"http://{host}" for host in self.guard.hosts)
        if not _only(headers.get("origin", []), origins):
            return 403, "This form does not come from this page.\n"
        if headers.get("sec-fetch-site", ["same-origin"]) != ["same-origin"]:
            return 403, "This form does not come from this page.\n"
        lengths = headers.get("content-length", ["0"])
        if not all(length.isascii() and length.isdigit() for length in lengths):
            return 400, "The length of the request cannot be read.\n"
        if any(len(one) > 15 or int(one) > self._limit(scope) for one in lengths):
            return 413, f"Too large: {self._limit(scope):,} bytes at most.\n"
        return None

    def _limit(self, scope: Scope) -> int:
        return self.guard.upload_bytes if scope["path"] == UPLOADS else FORM_BYTES


def _headers(scope: Scope) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _only(values: list[str], allowed: Iterable[str]) -> bool:
    return len(values) == 1 and values[0].lower() in allowed


def _with_headers(send: Send) -> Send:
    async def sender(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            present = {name.lower() for name, _ in message["headers"]}
            extra = HEADERS | {"Cache-Control": "no-store"}
            message["headers"] = [
                *message["headers"],
                *(
                    (name.encode(), value.encode())
                    for name, value in extra.items()
                    if name.lower().encode() not in present
                ),
            ]
        await send(message)

    return sender


def _counted(receive: Receive, limit: int) -> Receive:
    """For requests that do not say, or lie about, how long they are."""
    total = 0

    async def receiver() -> MutableMapping[str, Any]:
        nonlocal total
        message = await receive()
        total += len(message.get("body", b""))
        if total > limit:
            raise HTTPException(413, f"Too large: {limit:,} bytes at most.")
        return message

    return receiver
