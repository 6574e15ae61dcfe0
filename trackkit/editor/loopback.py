"""A server that answers to pages of its own on this computer, and to nobody else.

Whoever may use it knows the token in its address.  A page of another site cannot: its requests
have another Origin, and a name that was made to point here (DNS rebinding) is another Host.
"""

from __future__ import annotations

import hmac
import json
import os
import secrets
import socket
from collections.abc import Callable
from typing import TYPE_CHECKING

from trackkit.errors import TrackkitError

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send


ADDRESS = "127.0.0.1"
LARGEST_BODY = 64 * 1024
_HEADERS = [
    (b"cache-control", b"no-store"),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"content-security-policy", b"frame-ancestors 'none'"),
]


class Guard:
    """Lets through only requests of our own pages, and keeps other sites from every answer.

    Parameters
    ----------
    app
        What it guards; it sees the path that follows the token.
    token
        What the address begins with; who does not know it finds nothing.
    port
        Only requests to `ADDRESS` (or localhost) at this port are answered.
    seen
        Called for each request let through.
    """

    def __init__(self, app: ASGIApp, token: str, port: int, seen: Callable[[], None]) -> None:
        self._app, self._token, self._seen = app, token.encode(), seen
        self._hosts = {f"{name}:{port}".encode() for name in (ADDRESS, "localhost")}
        self._origins = {b"http://" + host for host in self._hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        answer = _marked(send)
        refused = self._refused(scope)
        if refused is not None:
            await _plain(answer, *refused)
            return
        body, whole = await _bounded(receive)
        if not whole:
            await _plain(answer, 413, "more was sent than a page of ours does")
            return
        self._seen()
        rest = scope["path"][1 + len(self._token) :]
        inside = {**scope, "path": rest, "raw_path": rest.encode(), "root_path": ""}
        await self._app(inside, _once(body), answer)

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        """Say why a request is not answered."""
        values = [(key.lower(), value) for key, value in scope["headers"]]
        headers = dict(values)
        if [value for key, value in values if key == b"host"] != [headers.get(b"host")]:
            return 403, "this server answers to one name only"
        if headers[b"host"].lower() not in self._hosts:
            return 403, "this server answers to this computer only"
        posted = scope["method"] not in ("GET", "HEAD")
        origin = headers.get(b"origin")
        if (posted or origin is not None) and origin not in self._origins:
            return 403, "pages of other sites may not ask this server"
        first, slash, _ = scope["path"][1:].partition("/")
        if not hmac.compare_digest(first.encode(), self._token) or not slash:
            return 404, "there is nothing here"
        kind = headers.get(b"content-type", b"").split(b";")[0].strip().lower()
        if posted and kind != b"application/json":
            return 415, "what is sent has to be JSON"
        return None


def _marked(send: Send) -> Send:
    async def answer(message: Message) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message.get("headers", []), *_HEADERS]}
        await send(message)

    return answer


async def _plain(send: Send, status: int, text: str) -> None:
    body = json.dumps({"error": text}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(body))]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


async def _bounded(receive: Receive) -> tuple[bytes, bool]:
    """Read a body, and say whether it is whole: no more than `LARGEST_BODY` of it is kept."""
    body = b""
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return body, True
        body += message.get("body", b"")
        if len(body) > LARGEST_BODY:
            return b"", False
        if not message.get("more_body", False):
            return body, True


def _once(body: bytes) -> Receive:
    sent = False

    async def receive() -> Message:
        nonlocal sent
        if sent:
            return {"type": "http.disconnect"}
        sent = True
        return {"type": "http.request", "body": body, "more_body": False}

    return receive


def new_token() -> str:
    """Make a token that cannot be guessed: 192 random bits, in letters that an address may have."""
    return secrets.token_urlsafe(24)


def listen(port: int = 0) -> socket.socket:
    """Take a port of this computer that no other computer reaches.

    Parameters
    ----------
    port
        Which, or 0 for a free one.

    Raises
    ------
    TrackkitError
        When it is taken.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":
        # Without it a port that was just closed cannot be bound again for a minute.
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((ADDRESS, port))
    except OSError as error:
        listening.close()
        raise TrackkitError(
            f"port {port} of this computer cannot be used ({error.strerror})",
            remedy="name another, or none for a free one",
        ) from error
    return listening
