"""Who may ask the live page what: this machine only, no other page, no large bodies."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

HOSTS = ("127.0.0.1", "localhost")
LARGEST_BODY = 64_000  # [bytes]
POLICY = (
    "default-src 'none'; script-src 'self'; connect-src 'self'; style-src 'self' 'unsafe-inline'; img-src data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)


class Guard:
    """Middleware: refuses foreign hosts and origins, bodies that are large or no JSON, and adds safe headers."""

    def __init__(self, app: ASGIApp, posts: frozenset[str]) -> None:
        self.app = app
        self.posts = posts  # addresses that take a body

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no web sockets here
            return
        headers = {name: value.decode("latin-1") for name, value in scope["headers"]}
        refusal = _refusal(headers)
        if refusal is None and scope["method"] == "POST" and scope["path"] in self.posts and not _is_json(headers):
            refusal = 415, "The body must be JSON, and say so."
        body: list[Message] = []
        if refusal is None:
            refusal = await _read(receive, body)
        if refusal is not None:
            await _refuse(send, *refusal)
            return

        async def again() -> Message:
            return body.pop(0) if body else await receive()

        async def safely(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *HEADERS]
            await send(message)

        await self.app(scope, again, safely)


def _refusal(headers: dict[bytes, str]) -> tuple[int, str] | None:
    """Return status and sentence of a refusal by headers alone."""
    host = headers.get(b"host", "")
    name, _, port = host.partition(":")
    if name not in HOSTS or not (port == "" or port.isdecimal()):
        return 400, "This page answers 127.0.0.1 and localhost only."
    origin = headers.get(b"origin")
    if origin is not None and origin != f"http://{host}":
        return 403, "This page takes nothing from other pages."
    if headers.get(b"sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return 403, "This page takes nothing from other pages."
    length = headers.get(b"content-length", "0")
    if not length.isdecimal() or int(length) > LARGEST_BODY:
        return 413, f"The body must not be larger than {LARGEST_BODY} bytes."
    return None


def _is_json(headers: dict[bytes, str]) -> bool:
    """Tell whether a body says that it is JSON: what a form of another page can send says something else."""
    return headers.get(b"content-type", "").partition(";")[0].strip().lower() == "application/json"


async def _read(receive: Receive, body: list[Message]) -> tuple[int, str] | None:
    """Read the whole body, whatever length it claims; a refusal where it is too large."""
    size = 0
    while True:
        message = await receive()
        body.append(message)
        size += len(message.get("body", b""))
        if size > LARGEST_BODY:
            return 413, f"The body must not be larger than {LARGEST_BODY} bytes."
        if message["type"] != "http.request" or not message.get("more_body", False):
            return None


async def _refuse(send: Send, status: int, sentence: str) -> None:
    body = json.dumps({"detail": sentence}).encode()
    kind = (b"content-type", b"application/json")
    await send({"type": "http.response.start", "status": status, "headers": [kind, *HEADERS]})
    await send({"type": "http.response.body", "body": body})
