"""What a request must be before anything is done with it: for this machine, from this page, and of some size.

A name that leads elsewhere to this machine (DNS rebinding) is refused by `Host`; a page elsewhere that sends a form
here by `Origin`, or, without one, by `Sec-Fetch-Site` (Fetch Metadata, W3C). What sends neither is no browser: it may
speak JSON, which no form can.
"""

from collections.abc import Mapping
from ipaddress import ip_address
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from faultnet.web.refusals import Refusal, refused

MOST_BYTES, MOST_UPLOADED = 64 * 1024, 20 * 1024 * 1024
"""Of a form, and of one with a table of past jobs; larger tables are for `faultnet history import`."""

UPLOADS = ("/history/import",)

NOT_OURS = "this page is not served under that name; open it by the address that it was started with"
FROM_ELSEWHERE = "this form came from another page; nothing was written. Open the job here and enter it there"

READING = frozenset(("GET", "HEAD"))
METHODS = READING | {"POST"}

HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    ),
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
"""Sent with every answer. The page has no scripts, so none is allowed."""

_OWN_NAMES = frozenset(("localhost", "127.0.0.1", "::1"))


class Guard:
    """The gate before the page. names: further names that this machine goes by, besides its addresses."""

    def __init__(self, app: ASGIApp, names: frozenset[str] = frozenset()) -> None:
        self.app = app
        self.names = _OWN_NAMES | {name.lower() for name in names}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or say why not."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        answer = _with_headers(scope, send)
        refusal = self._refusal(scope)
        if refusal is not None:
            await refused(scope, refusal)(scope, receive, answer)
            return
        counted = _Counted(receive, most_bytes(scope["path"]))
        try:
            await self.app(scope, counted, answer)
        except _TooLarge:
            await refused(scope, Refusal(413, counted.said))(scope, receive, answer)

    def _refusal(self, scope: Scope) -> Refusal | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if not self._is_own(host, scope):
            return Refusal(421, NOT_OURS)
        if scope["method"] not in METHODS:
            return Refusal(405, f"{scope['method']} is not used here")
        if scope["method"] in READING:
            return None
        if not _is_from_here(headers, host):
            return Refusal(403, FROM_ELSEWHERE)
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > most_bytes(scope["path"]):
            return Refusal(413, too_large(scope["path"]))
        return None

    def _is_own(self, host: str, scope: Scope) -> bool:
        """Whether a `Host` header means this machine: by a name of its own, or the address that was connected to."""
        name = _name_in(host)
        server = scope.get("server") or ("", 0)
        return name is not None and (name in self.names or _same_address(name, str(server[0])))


class _TooLarge(Exception):
    """More came in than may."""


class _Counted:
    """What comes in, until it is too much. A length that was announced may be wrong, or missing."""

    def __init__(self, receive: Receive, most: int) -> None:
        self.receive, self.left = receive, most
        self.said = f"more than {most // 1024:,} kB came in; nothing was written"

    async def __call__(self) -> Message:
        """The next message. _TooLarge: it is too much."""
        message = await self.receive()
        self.left -= len(message.get("body", b""))
        if self.left < 0:
            raise _TooLarge
        return message


def most_bytes(path: str) -> int:
    """How many bytes a form sent to a path may have."""
    return MOST_UPLOADED if path in UPLOADS else MOST_BYTES


def too_large(path: str) -> str:
    """What to do with more than may come in."""
    if path in UPLOADS:
        return (
            f"the file has more than {MOST_UPLOADED // 1024 // 1024} MB; nothing was written. Larger ones: "
            "faultnet history import FILE, where this page runs"
        )
    return f"more than {MOST_BYTES // 1024} kB in one form; nothing was written"


def _is_from_here(headers: Headers, host: str) -> bool:
    origin = headers.get("origin")
    if origin is not None:
        return origin.lower() in (f"http://{host}".lower(), f"https://{host}".lower())  # or behind a server with TLS
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site == "same-origin"
    return headers.get("content-type", "").partition(";")[0].strip().lower() == "application/json"


def _name_in(host: str) -> str | None:
    """The name in a `Host` header, without its port; None where it is none."""
    try:
        parts = urlsplit(f"//{host}")
        _ = parts.port
    except ValueError:
        return None
    is_bare = parts.netloc == host and "@" not in host and not parts.path
    return (parts.hostname or "").lower() if is_bare else None


def _same_address(name: str, server: str) -> bool:
    try:
        return ip_address(name) == ip_address(server)
    except ValueError:
        return False


def _with_headers(scope: Scope, send: Send) -> Send:
    is_kept = scope["path"].startswith("/static/")

    async def answer(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            headers["Cache-Control"] = "max-age=3600" if is_kept else "no-store"
        await send(message)

    return answer
