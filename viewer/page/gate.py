"""The gate before the page: every request and every websocket passes here first, or is refused in one line.

Asked in turn: is the Host one of ours (a foreign name that was pointed at this machine is not), does the Origin (when
a browser gives one, and always for a websocket) equal that host, is the session known, is the body within bounds.
Answers carry the headers that keep a browser from fetching, framing, sniffing or storing anything elsewhere.
"""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

from viewer.page.secrets_kept import Keyring
from viewer.page.words_en import WORDS

Message = MutableMapping[str, Any]
Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

_READS = ("GET", "HEAD")
_POLICY = (
    "default-src 'none'; script-src 'self' 'nonce-{nonce}' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self' {sockets}; worker-src 'self' blob:; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'; frame-src 'none'; object-src 'none'"
)
_HEADERS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), usb=(), payment=()",
}


class Gate:
    """An ASGI application around ``app`` that lets through only its own browser's requests."""

    def __init__(self, app: App, *, keys: Keyring, hosts: frozenset[str], port: int, most_bytes: int) -> None:
        self._app, self._keys = app, keys
        self._hosts, self._most_bytes = hosts, most_bytes
        self._cookie = f"bowtrue_{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Judge one request, websocket or life-span event and pass it on or refuse it."""
        kind = scope["type"]
        if kind == "lifespan":
            await self._app(scope, receive, send)
        elif kind == "websocket":
            await self._websocket(scope, receive, send)
        elif kind == "http":
            await self._http(scope, receive, send)

    async def _websocket(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = _headers(scope)
        if self._foreign(headers, origin_needed=True) or not self._known(headers):
            await receive()
            await send({"type": "websocket.close", "code": 1008, "reason": "refused"})
            return
        await self._app(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers, method = _headers(scope), scope["method"]
        if self._foreign(headers, origin_needed=method not in _READS):
            await _refuse(send, HTTPStatus.FORBIDDEN, WORDS["refused_foreign"])
            return
        token = _asked(scope, "token")
        if token is not None and scope["path"] == "/" and method == "GET":
            await self._exchange(token, headers, send)
            return
        if not self._known(headers):
            await _refuse(send, HTTPStatus.FORBIDDEN, WORDS["refused_token"])
            return
        if self._too_large(headers):
            await _refuse(send, HTTPStatus.REQUEST_ENTITY_TOO_LARGE, WORDS["refused_size"])
            return
        shielded = _Shielded(send, sockets=_sockets(headers["host"]))
        try:
            await self._app(scope, _bounded(receive, self._most_bytes), shielded)
        except BodyTooLargeError:
            await _refuse(send, HTTPStatus.REQUEST_ENTITY_TOO_LARGE, WORDS["refused_size"])

    def _foreign(self, headers: dict[str, str], *, origin_needed: bool) -> bool:
        host = headers.get("host", "").lower()
        if host not in self._hosts:
            return True
        if headers.get("sec-fetch-site") in ("cross-site", "same-site"):
            return True
        origin = headers.get("origin")
        if origin is None:
            return origin_needed
        return origin.lower() not in (f"http://{host}", f"https://{host}")

    def _known(self, headers: dict[str, str]) -> bool:
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(self._cookie)
        except CookieError:
            return False
        return cookie is not None and self._keys.knows(cookie.value)

    async def _exchange(self, token: str, headers: dict[str, str], send: Send) -> None:
        session = self._keys.exchanged(token)
        if session is None and not self._known(headers):
            await _refuse(send, HTTPStatus.FORBIDDEN, WORDS["refused_token"])
            return
        answer = {"location": "/", "cache-control": "no-store", **_HEADERS}
        if session is not None:
            answer["set-cookie"] = f"{self._cookie}={session}; Path=/; HttpOnly; SameSite=Strict"
        await _answer(send, HTTPStatus.SEE_OTHER, b"", answer)

    def _too_large(self, headers: dict[str, str]) -> bool:
        length = headers.get("content-length", "0")
        return not length.isascii() or not length.isdigit() or int(length) > self._most_bytes


class BodyTooLargeError(Exception):
    """A body went on beyond what its length said or the bound allows."""


def _bounded(receive: Receive, most_bytes: int) -> Receive:
    got = 0

    async def bounded() -> Message:
        nonlocal got
        message = await receive()
        got += len(message.get("body", b""))
        if got > most_bytes:
            raise BodyTooLargeError
        return message

    return bounded


class _Shielded:
    """Sends an answer on with the protecting headers; pages of HTML get a nonce on their scripts as well."""

    def __init__(self, send: Send, *, sockets: str) -> None:
        self._send, self._sockets = send, sockets
        self._held: Message | None = None
        self._nonce = secrets.token_urlsafe(18)
        self._body = b""

    async def __call__(self, message: Message) -> None:
        """Pass ``message`` on; a page of HTML is held until it is whole."""
        if message["type"] == "http.response.start":
            await self._start(message)
        elif self._held is not None and message["type"] == "http.response.body":
            self._body += message.get("body", b"")
            if not message.get("more_body", False):
                await self._page(self._held)
        else:
            await self._send(message)

    async def _start(self, message: Message) -> None:
        own = {k.lower(): v for k, v in message.get("headers", [])}
        added = {**_HEADERS, "content-security-policy": self._policy()}
        if b"/_nicegui/" not in own.get(b"x-path", b"") and b"cache-control" not in own:
            added["cache-control"] = "no-store"
        kept = [(k, v) for k, v in message.get("headers", []) if k.lower().decode("latin-1") not in added]
        message["headers"] = [*kept, *((k.encode("ascii"), v.encode("ascii")) for k, v in added.items())]
        if own.get(b"content-type", b"").startswith(b"text/html"):
            self._held = message
        else:
            await self._send(message)

    async def _page(self, start: Message) -> None:
        body = self._body.replace(b"<script", b'<script nonce="' + self._nonce.encode("ascii") + b'"')
        length = (b"content-length", str(len(body)).encode("ascii"))
        start["headers"] = [*((k, v) for k, v in start["headers"] if k.lower() != b"content-length"), length]
        await self._send(start)
        await self._send({"type": "http.response.body", "body": body})

    def _policy(self) -> str:
        return _POLICY.format(nonce=self._nonce, sockets=self._sockets)


def _sockets(host: str) -> str:
    return f"ws://{host} wss://{host}"


def _headers(scope: Scope) -> dict[str, str]:
    """The request's headers; a header that must be single and comes twice is made to fit nothing."""
    found: dict[str, str] = {}
    for key, value in scope["headers"]:
        name = key.decode("latin-1").lower()
        double = name in found and name in ("host", "origin", "content-length")
        found[name] = "twice" if double else value.decode("latin-1")
    return found


def _asked(scope: Scope, key: str) -> str | None:
    try:
        values = parse_qs(scope["query_string"].decode("ascii"), keep_blank_values=True, max_num_fields=16)
    except (UnicodeDecodeError, ValueError):
        return None
    return values[key][0] if key in values else None


async def _refuse(send: Send, status: HTTPStatus, text: str) -> None:
    policy = {
        "content-security-policy": "default-src 'none'",
        "connection": "close",
        "cache-control": "no-store",
    }
    await _answer(send, status, (text + "\n").encode("utf-8"), {**_HEADERS, **policy})


async def _answer(send: Send, status: HTTPStatus, body: bytes, headers: dict[str, str]) -> None:
    every = {"content-type": "text/plain; charset=utf-8", "content-length": str(len(body)), **headers}
    raw = [(k.encode("ascii"), v.encode("ascii")) for k, v in every.items()]
    await send({"type": "http.response.start", "status": int(status), "headers": raw})
    await send({"type": "http.response.body", "body": body})
