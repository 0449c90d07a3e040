"""Who may talk to the local server: the browser that was given its address, and nobody else.

Any page that is open in the browser can send requests to this machine, and any name can be made to lead to it. So a
request passes only if it comes from this machine, names the server as the opened address does, carries the secret in
its path and, where it would change something, was sent by a page of the server itself. All other requests get one
short answer that tells nothing. What is refused how:

======================================================================  ======
the client is not this machine; the Host is not the one served          403
an Origin that is not the server's own, or (changing) none              403
a method other than GET, HEAD, POST, PUT, DELETE                        403
changing, and sent from elsewhere, or not as JSON                       403
the path does not begin with the secret                                 404
more bytes in the body than allowed                                     413
======================================================================  ======

The rules for Origin, Sec-Fetch-Site and the answer's headers are those of the Fetch standard (fetch.spec.whatwg.org),
of the W3C's Fetch Metadata and Content Security Policy Level 3, and of RFC 9110 for Host and Content-Type.
"""

from __future__ import annotations

import hmac
import ipaddress
import secrets
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

TOKEN_BYTES = 24
LARGEST_BODY_BYTES = 64 * 1024  # the longest request is a reason with a few names
HEARD_OUT = 16  # of so many times the largest body the rest is thrown away, so that the sender can read the refusal
READING, CHANGING = frozenset({"GET", "HEAD"}), frozenset({"POST", "PUT", "DELETE"})
FORBIDDEN, NOT_FOUND, TOO_LARGE, BROKEN = 403, 404, 413, 500
WORDS = {FORBIDDEN: b"Forbidden.\n", NOT_FOUND: b"Not found.\n", TOO_LARGE: b"Too large.\n", BROKEN: b"Failed.\n"}

CLOSE = (b"connection", b"close")
HEADERS: Mapping[bytes, bytes] = {
    b"content-security-policy": (
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; media-src 'self' blob:; "
        b"connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    b"x-content-type-options": b"nosniff",
    b"referrer-policy": b"no-referrer",
    b"cache-control": b"no-store",
    b"cross-origin-opener-policy": b"same-origin",
    b"cross-origin-resource-policy": b"same-origin",
}
"""On every answer, whatever the application behind has set."""

SERVER: Mapping[str, Any] = {
    "host": "127.0.0.1",
    "proxy_headers": False,  # else a header of the request could name another client
    "access_log": False,  # it would print the secret
    "log_level": "error",  # not what strangers send
    "server_header": False,
    "ws": "none",
    "lifespan": "off",
    "timeout_graceful_shutdown": 2,  # seconds
}
"""How uvicorn must be started for the guard to hold: ``uvicorn.Config(Guard(...), **SERVER)``."""


def new_token() -> str:
    """A new secret for the address; one for each start of the server.

    >>> len(new_token()), new_token() == new_token()
    (32, False)
    """
    return secrets.token_urlsafe(TOKEN_BYTES)


def address(port: int, token: str) -> str:
    """The address that is opened in the browser. Whoever knows it may go through the score; do not print it in logs.

    >>> address(8000, "secret")
    'http://127.0.0.1:8000/secret/'
    """
    return f"http://127.0.0.1:{port}/{token}/"


def hosts(port: int) -> frozenset[bytes]:
    """The Host headers under which the server answers; a browser leaves out port 80.

    >>> sorted(hosts(8000))
    [b'127.0.0.1:8000', b'[::1]:8000', b'localhost:8000']
    """
    names = (b"127.0.0.1", b"localhost", b"[::1]")
    return frozenset(b"%s:%d" % (name, port) for name in names) | frozenset(names if port == 80 else ())


def refusal(scope: Scope, port: int, token: str) -> int | None:
    """The status with which a request is refused before its body is read; None if it may pass.

    ``scope`` is an ASGI HTTP scope; ``port`` is the one served, ``token`` the secret of the address. A header that
    decides something and comes twice is refused.
    """
    method = scope["method"]
    host, origin, site, kind = (_values(scope, name) for name in (b"host", b"origin", b"sec-fetch-site", _KIND))
    if not _from_this_machine(scope.get("client")) or max(map(len, (host, origin, site, kind))) > 1:
        return FORBIDDEN
    if not host or host[0].lower() not in hosts(port):
        return FORBIDDEN
    if origin and origin[0].lower() != b"http://" + host[0].lower():
        return FORBIDDEN
    if method in CHANGING:
        if not origin or site not in ([], [b"same-origin"]) or not (kind and _is_json(kind[0])):
            return FORBIDDEN
    elif method not in READING:
        return FORBIDDEN
    first, slash, _ = scope["path"].removeprefix("/").partition("/")
    known = hmac.compare_digest(first.encode("utf-8", "replace"), token.encode("utf-8"))
    return None if known and slash and scope["path"].startswith("/") else NOT_FOUND


_KIND = b"content-type"


def _values(scope: Scope, name: bytes) -> list[bytes]:
    return [value.strip() for key, value in scope["headers"] if key.lower() == name]


def _from_this_machine(client: Iterable[Any] | None) -> bool:
    """Whether the address of the connection is a loopback one; (host, port), None for no network connection."""
    if client is None:
        return False
    try:
        host = ipaddress.ip_address(next(iter(client)))
    except ValueError:
        return False
    mapped = host.ipv4_mapped if isinstance(host, ipaddress.IPv6Address) else None
    return (mapped or host).is_loopback


def _is_json(kind: bytes) -> bool:
    """A page elsewhere cannot send this type without being asked first; UTF-8 is the one encoding of JSON."""
    media, _, parameter = kind.lower().partition(b";")
    return media.strip() == b"application/json" and parameter.strip() in (b"", b"charset=utf-8")


class Guard:
    """ASGI middleware around the application: lets through what ``refusal`` does not refuse.

    The application sees the secret as its ``root_path``: its routes are written without it, and ``url_for`` gives
    addresses with it. A body is read whole before the application is called, counted as it comes in; the length that
    the request claims is not heeded. Connections other than HTTP are refused.

    Parameters
    ----------
    app : ASGI application
    port : int
        The port served. For a free one, bind the socket first and ask it.
    token : str
        The secret, from ``new_token``.
    largest_body_bytes : int
        The largest body that is let through.
    """

    def __init__(self, app: ASGIApp, port: int, token: str, largest_body_bytes: int = LARGEST_BODY_BYTES) -> None:
        if not token:
            raise ValueError("a guard needs a secret; new_token() gives one")
        self.app = app
        self.port = port
        self.token = token
        self.largest_body_bytes = largest_body_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer or pass on one connection."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
        elif scope["type"] == "http":
            await self._http(scope, receive, _Answer(send))

    async def _http(self, scope: Scope, receive: Receive, answer: _Answer) -> None:
        refused = refusal(scope, self.port, self.token)
        body = await self._body(receive)  # also of a refused request: cut off, the sender would not see the answer
        if body is None:
            return
        if refused is not None or isinstance(body, int):
            await answer.short(refused or TOO_LARGE)
            return
        inner = {**scope, "root_path": f"/{self.token}"}
        try:
            await self.app(inner, _again(body, receive), answer)
        except Exception:
            if not answer.begun:  # the server's own answer would lack the headers
                await answer.short(BROKEN)
            raise
        if not answer.begun:
            await answer.short(BROKEN)

    async def _body(self, receive: Receive) -> bytes | int | None:
        """The whole body; the status where it is too large; None where the client has gone."""
        body, count = bytearray(), 0
        while True:
            message = await receive()
            if message["type"] != "http.request":
                return None
            part = message.get("body", b"")
            count += len(part)
            if count <= self.largest_body_bytes:
                body += part
            if not message.get("more_body", False) or count > HEARD_OUT * self.largest_body_bytes:
                return bytes(body) if count <= self.largest_body_bytes else TOO_LARGE


def _again(body: bytes, receive: Receive) -> Receive:
    """Hand out the body that was read, then what the connection says next."""
    first: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def messages() -> Message:
        return first.pop() if first else await receive()

    return messages


class _Answer:
    """What goes out: the headers of every answer replace those of the application."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self.begun = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            kept = [(name, value) for name, value in message.get("headers", ()) if not _ours(name.lower())]
            if message["status"] >= BROKEN and CLOSE not in kept:
                kept.append(CLOSE)  # the server ends the connection after an error; the browser should know
            message = {**message, "headers": [*kept, *HEADERS.items()]}
        await self._send(message)

    async def short(self, status: int) -> None:
        """The whole answer to a request that is refused; the connection ends with it."""
        words = WORDS[status]
        headers = [
            (b"content-type", b"text/plain; charset=utf-8"),
            (b"content-length", b"%d" % len(words)),
            CLOSE,
        ]
        await self({"type": "http.response.start", "status": status, "headers": headers})
        await self._send({"type": "http.response.body", "body": words})


def _ours(name: bytes) -> bool:
    """Headers that the guard sets, and those by which an application could open itself to other pages."""
    return name in HEADERS or name.startswith(b"access-control-")
