"""The door in front of everything that the desk serves: who may come in, and what a page of ours may do.

Three things must be right, over HTTP and WebSocket alike. The Host must be this address with this port, so that a name
that somebody points at this machine does not serve. The Origin must be ours; only reading may come without one, as a
browser's own address line does. And the token must be known, which the address printed at the start holds once and a
cookie from then on; cookies know no ports, so ours is named by the port.

Sources: Fetch standard (Origin), RFC 6265bis (SameSite, HttpOnly), W3C Content Security Policy level 3.
"""

from __future__ import annotations

from hmac import compare_digest
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HOST = "127.0.0.1"
READING = ("GET", "HEAD")
REFUSED = PlainTextResponse(
    "This is the music desk of somebody on this machine. Open the whole address that it printed when it was started.\n",
    403,
)


class Door:
    """An ASGI application that lets in whom it should, and says to every answer what the page may do."""

    def __init__(self, app: ASGIApp, port: int, token: str) -> None:
        self.app, self.token = app, token
        self.host = f"{HOST}:{port}"
        self.origin = f"http://{self.host}"
        self.cookie = f"desk-{port}"
        self.rules = rules(self.host)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        reading = scope["type"] == "http" and scope["method"] in READING
        origins = headers.getlist("origin")
        ours = origins == [self.origin] or (reading and not origins)
        if headers.getlist("host") != [self.host] or not ours:
            await REFUSED(scope, receive, send)
        elif self._known(headers):
            await self.app(scope, receive, self._ruled(send))
        elif reading and scope["path"] == "/" and self._same(_asked(scope)):
            await self._welcome()(scope, receive, self._ruled(send))
        else:
            await REFUSED(scope, receive, send)

    def _known(self, headers: Headers) -> bool:
        """Whether the cookie holds the token."""
        try:
            found = SimpleCookie("; ".join(headers.getlist("cookie"))).get(self.cookie)
        except CookieError:
            return False
        return found is not None and self._same(found.value)

    def _same(self, token: str) -> bool:
        return compare_digest(token.encode(), self.token.encode())

    def _welcome(self) -> RedirectResponse:
        """On to the page, with the token in a cookie and no longer in the address."""
        found = RedirectResponse("/", 303)
        found.set_cookie(self.cookie, self.token, path="/", httponly=True, samesite="strict")
        return found

    def _ruled(self, send: Send) -> Send:
        async def ruled(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self.rules.items():
                    headers.setdefault(name, value)
            await send(message)

        return ruled


def _asked(scope: Scope) -> str:
    """The token in an address, "" for none."""
    found = parse_qs(scope["query_string"].decode("latin-1")).get("token", [])
    return found[0] if len(found) == 1 else ""


def rules(host: str) -> dict[str, str]:
    """Headers of every answer: nothing from elsewhere, nothing inline, in nobody's frame, kept nowhere."""
    policy = (
        "default-src 'none'",
        "script-src 'self'",
        "worker-src 'self'",
        "style-src 'self'",
        "font-src 'self'",
        "img-src 'self'",
        f"connect-src 'self' ws://{host}",  # some browsers do not count a WebSocket as 'self'
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
    return {
        "content-security-policy": "; ".join(policy),
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
        "referrer-policy": "no-referrer",
        "x-content-type-options": "nosniff",
        "cache-control": "no-store",
    }
