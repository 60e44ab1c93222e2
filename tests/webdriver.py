"""Firefox and WebKit, driven by the commands of W3C WebDriver, with the same words as `browser.Browser`.

Firefox is spoken to by Marionette, its own remote protocol: `length:[0, number, name, parameters]` over TCP, answered by
`length:[1, number, error, result]`; the port stands in the file MarionetteActivePort of the profile. Its sound goes to
the mock of a device that it brings for its own tests, since a machine without one has a clock that stands. WebKit (WebKitGTK)
is spoken to over HTTP through its own driver, WebKitWebDriver, and shows itself on a virtual screen (Xvfb).
"""

from __future__ import annotations

import base64
import contextlib
import json
import os
import shutil
import socket
import subprocess
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from browser import PATIENCE_S, BrowserError

Order = Callable[[str, dict[str, Any]], Any]

# Names of Marionette, and method and path of the standard's end points.
ENDPOINTS = {
    "Navigate":           ("POST", "/url"),
    "Refresh":            ("POST", "/refresh"),
    "SetTimeouts":        ("POST", "/timeouts"),
    "SetWindowRect":      ("POST", "/window/rect"),
    "ExecuteAsyncScript": ("POST", "/execute/async"),
    "PerformActions":     ("POST", "/actions"),
    "TakeScreenshot":     ("GET", "/screenshot"),
}  # fmt: skip

KEYS = {
    "Enter": "\ue007",
    "ArrowLeft": "\ue012", "ArrowUp": "\ue013", "ArrowRight": "\ue014", "ArrowDown": "\ue015",
}  # fmt: skip

PREFERENCES = """
user_pref("marionette.port", 0);
user_pref("media.autoplay.default", 0);
user_pref("media.autoplay.blocking_policy", 0);
user_pref("media.autoplay.block-webaudio", false);
user_pref("media.cubeb.force_mock_context", true);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("app.update.enabled", false);
user_pref("browser.aboutwelcome.enabled", false);
user_pref("privacy.reduceTimerPrecision", false);
user_pref("layout.css.prefers-color-scheme.content-override", %d);
"""

# An expression or statements; what cannot be said in JSON is null.
RUN = """
const done = arguments[arguments.length - 1];
const plain = (value) => { try { return JSON.parse(JSON.stringify(value) ?? "null"); } catch (cyclic) { return null; } };
(async () => { %s })().then((value) => done({ value: plain(value) }), (e) => done({ thrown: String(e) + " " + (e && e.stack) }));
"""
WATCHED = """(() => {
  window.faults = [];
  addEventListener("error", (e) => faults.push(String(e.message)));
  addEventListener("unhandledrejection", (e) => faults.push(String(e.reason)));
})()"""


class Driven:
    """A browser with one page that takes orders. The words are those of `Browser`."""

    can_be_slowed = False

    def __init__(self, order: Order) -> None:
        self._order = order
        self._order("SetTimeouts", {"script": 60_000, "pageLoad": 60_000})

    def open(self, path: Path, fragment: str = "", *, fresh: bool = True) -> None:
        """Open a file; `fresh` forgets first what pages have kept."""
        address = path.absolute().as_uri()
        if fresh:
            self._order("Navigate", {"url": address})
            self.run(
                "[...document.querySelectorAll('#foot button')].find((b) => b.textContent === 'As it came')?.click();"
                " dispatchEvent(new Event('pagehide'));"
            )
        self._order("Navigate", {"url": "about:blank"})
        self._order("Navigate", {"url": address + (f"#{fragment}" if fragment else "")})
        self.run(WATCHED)

    def visit(self, address: str) -> None:
        """Open a page that is served."""
        self._order("Navigate", {"url": "about:blank"})
        self._order("Navigate", {"url": address})
        self.run(WATCHED)

    def reload(self) -> None:
        """The page as it is, anew."""
        self._order("Refresh", {})
        self.run(WATCHED)

    @property
    def errors(self) -> list[str]:
        return list(self.run("window.faults ?? []"))

    def run(self, script: str) -> Any:
        """The value of an expression; a promise is waited for. Raises `BrowserError` with what was thrown."""
        script = script.strip().removesuffix(";")
        try:
            got = self._order(
                "ExecuteAsyncScript", {"script": RUN % f"return ({script});", "args": []}
            )
        except BrowserError as wrong:
            if not any(sign in str(wrong) for sign in ("SyntaxError", "Unexpected token")):
                raise
            got = self._order("ExecuteAsyncScript", {"script": RUN % script, "args": []})
        if "thrown" in got:
            raise BrowserError(got["thrown"])
        return got.get("value")

    def wait(self, condition: str, patience_s: float = 30.0) -> None:
        """Until an expression holds. Raises `BrowserError`."""
        end = time.monotonic() + patience_s
        while not self.run(f"Boolean({condition})"):
            if time.monotonic() > end:
                raise BrowserError(f"{condition} did not come")
            time.sleep(0.02)

    def size(self, width: int, height: int, *, touch: bool = False) -> None:
        """The page in about so many CSS pixels: windows have a least size, and edges."""
        rect = {"width": width, "height": height}
        for _ in range(2):
            self._order("SetWindowRect", rect)
            inner = self.run("[innerWidth, innerHeight]")
            rect = {
                "width": rect["width"] + width - inner[0],
                "height": rect["height"] + height - inner[1],
            }

    def press(self, key: str) -> None:
        """One key down and up."""
        value = KEYS.get(key, key)
        keys = [{"type": "keyDown", "value": value}, {"type": "keyUp", "value": value}]
        self._order("PerformActions", {"actions": [{"type": "key", "id": "keys", "actions": keys}]})

    def drag(self, points: list[tuple[float, float]]) -> None:
        """The left button pressed at the first point, moved through all, let go at the last."""
        moves: list[dict[str, Any]] = []
        for i, (x, y) in enumerate(points):
            moves.append(
                {
                    "type": "pointerMove",
                    "duration": 30,
                    "x": round(x),
                    "y": round(y),
                    "origin": "viewport",
                }
            )
            if i == 0:
                moves.append({"type": "pointerDown", "button": 0})
        moves.append({"type": "pointerUp", "button": 0})
        mouse = {
            "type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": moves,
        }  # fmt: skip
        self._order("PerformActions", {"actions": [mouse]})

    def picture(self, path: Path) -> None:
        """What is seen, as PNG."""
        got = self._order("TakeScreenshot", {"full": False})
        path.write_bytes(base64.b64decode(got if isinstance(got, str) else got["value"]))

    def dark(self, on: bool) -> None:
        """Colours are chosen when the browser is started."""

    def slowed(self, rate: float) -> None:
        """There is no order for it."""


class Marionette:
    """The connection to a Firefox."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), PATIENCE_S)
        self._file = self._socket.makefile("rb")
        self._number = 0
        self._take()  # who is there
        self.order("NewSession", {})

    def order(self, name: str, params: dict[str, Any]) -> Any:
        self._number += 1
        data = json.dumps([0, self._number, f"WebDriver:{name}", params]).encode()
        self._socket.sendall(str(len(data)).encode() + b":" + data)
        _, _, wrong, result = self._take()
        if wrong:
            raise BrowserError(f"{name}: {wrong['message']}")
        return result.get("value", result) if isinstance(result, dict) else result

    def _take(self) -> Any:
        length = b""
        while not length.endswith(b":"):
            got = self._file.read(1)
            if not got:
                raise BrowserError("the browser has ended")
            length += got
        return json.loads(self._file.read(int(length[:-1])))

    def close(self) -> None:
        self._file.close()
        self._socket.close()


@contextlib.contextmanager
def ended(process: subprocess.Popen[bytes]) -> Iterator[None]:
    """End a process when the block is left."""
    try:
        yield
    finally:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def program(*names: str) -> str:
    """Where a program lies. Raises `BrowserError`."""
    found = next(filter(None, (shutil.which(n) or next(iter_found(n), None) for n in names)), None)
    if found is None:
        raise BrowserError(f"no browser: install one of {', '.join(names)}")
    return found


def iter_found(pattern: str) -> Iterator[str]:
    """Programs that Debian keeps beside a library."""
    return (str(p) for p in sorted(Path("/usr/lib").glob(pattern), reverse=True))


def until(condition: Callable[[], Any], what: str) -> Any:
    """The first value that is not false. Raises `BrowserError`."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        value = condition()
        if value:
            return value
        time.sleep(0.05)
    raise BrowserError(f"{what} did not come")


@contextlib.contextmanager
def firefox(*, dark: bool = False) -> Iterator[Driven]:
    """A fresh headless Firefox."""
    path = program("firefox-esr", "firefox")
    with tempfile.TemporaryDirectory(prefix="browser-", ignore_cleanup_errors=True) as profile:
        Path(profile, "user.js").write_text(PREFERENCES % (0 if dark else 1))
        process = subprocess.Popen(
            [path, "--headless", "--marionette", "--no-remote", "--profile", profile, "about:blank"],
            env={**os.environ, "HOME": profile},
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        told = Path(profile, "MarionetteActivePort")
        with ended(process):
            port = until(lambda: told.exists() and told.read_text().strip(), "Firefox")
            one = Marionette(int(port))
            try:
                yield Driven(one.order)
            finally:
                one.close()


class Http:
    """The connection to a driver that speaks the standard's own HTTP."""

    def __init__(self, port: int, capabilities: dict[str, Any]) -> None:
        self._root = f"http://127.0.0.1:{port}"
        got = self._ask("POST", "/session", {"capabilities": {"alwaysMatch": capabilities}})
        self._session = f"/session/{got['sessionId']}"

    def order(self, name: str, params: dict[str, Any]) -> Any:
        method, path = ENDPOINTS[name]
        return self._ask(method, self._session + path, params if method == "POST" else None)

    def _ask(self, method: str, path: str, params: dict[str, Any] | None) -> Any:
        data = None if params is None else json.dumps(params).encode()
        head = {"Content-Type": "application/json"}
        request = urllib.request.Request(self._root + path, data, head, method=method)
        try:
            with urllib.request.urlopen(request, timeout=PATIENCE_S) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as wrong:
            with wrong:
                raise BrowserError(wrong.read().decode("utf-8", "replace")[:2000]) from None

    def close(self) -> None:
        self._ask("DELETE", self._session, None)


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@contextlib.contextmanager
def screen() -> Iterator[str]:
    """A virtual screen; its name."""
    orders, told = os.pipe()
    process = subprocess.Popen(
        [program("Xvfb"), "-displayfd", str(told), "-screen", "0", "2000x1200x24", "-nolisten", "tcp"],
        pass_fds=(told,), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(told)
    with ended(process), os.fdopen(orders) as number:
        yield f":{number.readline().strip()}"


@contextlib.contextmanager
def webkit() -> Iterator[Driven]:
    """A fresh WebKit on a virtual screen."""
    driver = program("WebKitWebDriver")
    window = program("MiniBrowser", "*/webkit2gtk-4.*/MiniBrowser", "*/webkitgtk-6.*/MiniBrowser")
    port = free_port()
    with (
        screen() as display,
        tempfile.TemporaryDirectory(prefix="browser-", ignore_cleanup_errors=True) as home,
    ):
        process = subprocess.Popen(
            [driver, f"--port={port}"],
            env={
                **os.environ, "DISPLAY": display, "HOME": home, "GDK_BACKEND": "x11", "NO_AT_BRIDGE": "1",
                "WEBKIT_DISABLE_COMPOSITING_MODE": "1", "XDG_RUNTIME_DIR": home, "LIBGL_ALWAYS_SOFTWARE": "1",
            },
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        with ended(process):
            until(lambda: listening(port), "WebKit's driver")
            options = {"binary": window, "args": ["--automation", "--autoplay-policy=allow"]}
            one = Http(port, {"webkitgtk:browserOptions": options})
            try:
                yield Driven(one.order)
            finally:
                one.close()


def listening(port: int) -> bool:
    with socket.socket() as one:
        return one.connect_ex(("127.0.0.1", port)) == 0
