"""The door of the desk: a foreign page cannot read or write anything, and each refusal has a twin that is let in.

Sources: Fetch standard (a browser says the Origin of a WebSocket and of whatever is no plain reading); RFC 6265bis (cookies
know no ports; SameSite); RFC 6455, 1.3 (a WebSocket begins as a request of HTTP, and 101 opens it).
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.desks import Desk, desk
from tests.each import each

TUNE = "title: Nine Lamps\n| C | F | G7 | C |\n"
READ, WRITE, LISTEN = "read", "write", "listen"
UPGRADE = {
    "Connection": "Upgrade",
    "Upgrade": "websocket",
    "Sec-WebSocket-Version": "13",
    "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",  # RFC 6455, 1.3
}
LET_IN = {READ: 200, WRITE: 200, LISTEN: 101}


@pytest.fixture(scope="module")
def one(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    folder = tmp_path_factory.mktemp("door")
    (folder / "tune.txt").write_text(TUNE, "utf-8")
    with desk(folder) as found:
        yield found


def status(one: Desk, way: str, headers: dict[str, str | None]) -> int:
    """What is answered when the headers of the desk's own page are changed so; None leaves one out."""
    places = {"HOST": one.host, "PORT": one.port, "NEXT": one.port % 60_000 + 1, "TOKEN": one.token}
    given = {**one.ours, **headers}
    said = {name: value.format(**places) for name, value in given.items() if value is not None}
    if way == READ:
        return one.ask("GET", "/charts/open?name=tune.txt", said).status
    if way == WRITE:
        body = b'{"name": "begun", "text": "| C |"}'
        return one.ask(
            "POST", "/charts/new", {**said, "Content-Type": "application/json"}, body
        ).status
    return one.ask("GET", "/edit", {**said, **UPGRADE}).status


# what is changed, what is not ours about it
FOREIGN: list[tuple[str, dict[str, str | None]]] = [
    ("a name that somebody points at this machine", {"Host": "desk.example:{PORT}"}),
    ("the machine by another name", {"Host": "localhost:{PORT}"}),
    ("another port", {"Host": "127.0.0.1:{NEXT}"}),
    ("no port", {"Host": "127.0.0.1"}),
    ("a foreign page", {"Origin": "http://desk.example"}),
    ("a page of another port", {"Origin": "http://127.0.0.1:{NEXT}"}),
    ("a page of another name of this machine", {"Origin": "http://localhost:{PORT}"}),
    ("a page under another scheme", {"Origin": "https://{HOST}"}),
    ("a page from a file, or in a sandbox", {"Origin": "null"}),
    ("ours and a foreign one", {"Origin": "http://{HOST}, http://desk.example"}),
    ("no token", {"Cookie": None}),
    ("a wrong token", {"Cookie": "desk-{PORT}=guessed"}),
    ("an empty token", {"Cookie": "desk-{PORT}="}),
    ("the token under the name of another port", {"Cookie": "desk-{NEXT}={TOKEN}"}),
    ("half of the token", {"Cookie": "desk-{PORT}={TOKEN:.16}"}),
]  # fmt: skip


@each("way", [READ, WRITE, LISTEN])
def test_the_desk_s_own_page_is_let_in(one: Desk, way: str) -> None:
    assert status(one, way, {}) == LET_IN[way]


@each(("what", "headers"), FOREIGN, ids=[what for what, _ in FOREIGN])
def test_a_foreign_page_is_let_in_nowhere(
    one: Desk, what: str, headers: dict[str, str | None]
) -> None:
    """Over HTTP and over a WebSocket; the twin that differs in nothing else comes in before and after."""
    for way in (READ, WRITE, LISTEN):
        assert status(one, way, {}) == LET_IN[way]
        assert status(one, way, headers) == 403
        assert status(one, way, {}) == LET_IN[way]


def test_only_reading_may_come_without_an_origin(one: Desk) -> None:
    """As what is typed into a browser's address line does."""
    assert status(one, READ, {"Origin": None}) == 200
    assert status(one, WRITE, {"Origin": None}) == 403
    assert status(one, LISTEN, {"Origin": None}) == 403


def test_the_address_lets_in_once_and_the_cookie_from_then_on(one: Desk) -> None:
    """The token goes from the address into a cookie that no script reads and no other site's page sends."""
    plain = {"Host": one.host}
    got = one.ask("GET", f"/?token={one.token}", plain)
    assert (got.status, got.headers["location"]) == (303, "/")
    words = {part.strip().lower() for part in got.headers["set-cookie"].split(";")}
    assert words >= {"httponly", "samesite=strict", "path=/"}
    assert got.headers["set-cookie"].startswith(one.cookie)
    assert one.ask("GET", "/?token=guessed", plain).status == 403
    assert one.ask("GET", f"/?token={one.token}&token=guessed", plain).status == 403
    assert one.ask("GET", f"/charts?token={one.token}", plain).status == 403
    assert (
        one.ask("GET", f"/?token={one.token}", {**plain, "Origin": "http://desk.example"}).status
        == 403
    )


def test_a_refusal_says_what_to_do_and_nothing_of_the_folder(one: Desk) -> None:
    got = one.ask("GET", "/", {"Host": one.host})
    assert got.status == 403
    assert b"Open the whole address that it printed" in got.body
    assert b"tune" not in got.body


def test_what_a_page_of_ours_may_do(one: Desk) -> None:
    """CSP level 3: its own scripts and styles, none inline, nothing from elsewhere, in nobody's frame."""
    got = one.ask("GET", "/", one.ours)
    policy = dict(rule.split(" ", 1) for rule in got.headers["content-security-policy"].split("; "))
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["img-src"] == "'self'"
    assert policy["connect-src"] == f"'self' ws://{one.host}"
    assert "unsafe" not in got.headers["content-security-policy"]
    assert got.headers["cross-origin-resource-policy"] == "same-origin"
    assert got.headers["x-content-type-options"] == "nosniff"
    assert b"style=" not in got.body  # nothing inline is needed
    assert b"onclick" not in got.body


@each(
    "path",
    [
        "/charts",
        "/charts/open?name=tune.txt",
        "/web/main.js",
        "/page/type.js",
        "/guide/charts",
        "/taken/1/0",
    ],
)
def test_every_place_lies_behind_the_door(one: Desk, path: str) -> None:
    assert one.ask("GET", path, {"Host": one.host}).status == 403
    assert one.ask("GET", path, one.ours).status == (404 if "taken" in path else 200)


def test_what_is_no_json_is_not_read(one: Desk) -> None:
    """A form of a foreign page could send plain text without asking first (Fetch standard, CORS-safelisted types)."""
    for kind in ("text/plain", "application/x-www-form-urlencoded"):
        got = one.ask(
            "POST", "/charts/new", {**one.ours, "Content-Type": kind}, b'{"name": "x", "text": ""}'
        )
        assert (got.status, got.told) == (400, {"failed": "this could not be read"})
    got = one.ask("POST", "/charts/new", {**one.ours, "Content-Type": "application/json"}, b"{")
    assert got.told == {"failed": "this could not be read"}
