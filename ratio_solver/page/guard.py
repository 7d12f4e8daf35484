"""Who is let in: only whoever has the address with its token, from this very page, with requests of a sensible size."""

from __future__ import annotations

import secrets
from collections.abc import Iterable

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

BODY_BYTES = 4_000_000
"""Of the body of a request: a recipe file or a saved page, as a form sends it."""

TOO_LARGE = f"this is too large: expected at most {BODY_BYTES:,} bytes"

METHODS = ("GET", "HEAD", "POST")

_POLICY = ("default-src 'none'; script-src 'self'; style-src {style}; img-src {images}; connect-src 'self'; "
          "form-action 'self'; base-uri 'none'; frame-ancestors 'none'")


def policy(style: str = "'self'", images: str = "'self'") -> str:
    """What a browser may load: nothing from elsewhere, and nothing that stands in the HTML unless it is named here."""
    return _POLICY.format(style=style, images=images)


HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class Guard:
    """Lets requests through that know the token and come from the page itself.

    The token is the first part of the path, and no cookie: those of a host are sent to all of its ports, so that
    another program of this machine could read it. A name that is made to lead to this machine is no host of it, and a
    page from elsewhere has another origin.

    Parameters
    ----------
    app : ASGI application
        It sees paths without the token, as its root path.
    token : str
    hosts : iterable of str
        Host and port under which the page may be asked for: "127.0.0.1:8642".
    """

    def __init__(self, app: ASGIApp, token: str, hosts: Iterable[str]) -> None:
        self._app, self._token, self._hosts = app, token, frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        within: Scope = {**scope, "root_path": f"/{self._token}"}  # where the page is mounted
        await (self._refused(scope) or self._app)(within, _of_sensible_size(receive), _with_headers(send))

    def _refused(self, scope: Scope) -> PlainTextResponse | None:
        """Why a request is not let in, as its answer; None where it is."""
        headers, method = Headers(scope=scope), scope["method"]
        host, origin = headers.get("host", ""), headers.get("origin")
        if host.lower() not in self._hosts or len(headers.getlist("host")) != 1:
            return PlainTextResponse("This host is not served here.", 421)
        if origin != f"http://{host}".lower() and (origin is not None or method == "POST"):
            return PlainTextResponse("This comes from another page.", 403)
        if not secrets.compare_digest(scope["path"].removeprefix("/").partition("/")[0].encode(), self._token.encode()):
            return PlainTextResponse("The address is not whole: its token is missing.", 404)
        if method not in METHODS:
            return PlainTextResponse("This cannot be asked for.", 405)
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length[:20]) > BODY_BYTES:
            return PlainTextResponse(TOO_LARGE, 413)
        return None


def _of_sensible_size(receive: Receive) -> Receive:
    """The body of a request, which ends where it grows too large, whatever its length was said to be."""
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > BODY_BYTES:
            raise HTTPException(413, TOO_LARGE)
        return message

    return counted


def _with_headers(send: Send) -> Send:
    """Answers with the headers that keep a browser from doing more than the page asks."""

    async def answer(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            if "content-security-policy" not in headers:
                headers["Content-Security-Policy"] = policy()
        await send(message)

    return answer
