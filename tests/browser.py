"""Headless Chromium, driven over its DevTools pipe: open a page, evaluate in it, press keys, see what it asks for.

Messages are JSON parted by NUL bytes, written to descriptor 3 and read from descriptor 4 of the browser (Chromium's
`--remote-debugging-pipe`; Chrome DevTools Protocol).
"""

from __future__ import annotations

import base64
import contextlib
import fcntl
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--mute-audio",
    "--autoplay-policy=no-user-gesture-required",
    "--remote-debugging-pipe",
)
PATIENCE_S = 60.0


class BrowserError(AssertionError):
    """The page threw, or the browser said no."""


class Browser:
    """A browser with one page; `can_be_slowed` says whether there is an order for it. `errors` collects console errors and exceptions, `requests` every address asked for."""

    can_be_slowed = True

    def __init__(self, program: str) -> None:
        self._profile = tempfile.TemporaryDirectory(prefix="browser-", ignore_cleanup_errors=True)
        orders, self._out = os.pipe()
        self._in, answers = os.pipe()
        high = [fcntl.fcntl(fd, fcntl.F_DUPFD, 20) for fd in (orders, answers)]

        def place() -> None:
            os.dup2(high[0], 3)
            os.dup2(high[1], 4)

        self._process = subprocess.Popen(
            [program, *FLAGS, f"--user-data-dir={self._profile.name}", "about:blank"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            preexec_fn=place,
            pass_fds=(3, 4),
        )
        for fd in (orders, answers, *high):
            os.close(fd)
        self._buffer = b""
        self._number = 0
        self._answers: dict[int, dict[str, Any]] = {}
        self._session: str | None = None
        self.errors: list[str] = []
        self.requests: list[str] = []
        self.loaded = False

    def close(self) -> None:
        """End the browser and its profile."""
        self._process.terminate()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        os.close(self._out)
        os.close(self._in)
        self._profile.cleanup()

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One order and its result. Raises `BrowserError`."""
        self._number += 1
        number = self._number
        message: dict[str, Any] = {"id": number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._out, data) :]
        end = time.monotonic() + PATIENCE_S
        while number not in self._answers:
            self._take(end)
        answer = self._answers.pop(number)
        if "error" in answer:
            raise BrowserError(f"{method}: {answer['error']['message']}")
        result: dict[str, Any] = answer["result"]
        return result

    def _take(self, end: float) -> None:
        """Read what has come, wait for it until `end`."""
        if not select.select([self._in], [], [], max(0.0, end - time.monotonic()))[0]:
            raise BrowserError(f"the browser was silent for {PATIENCE_S:g} s")
        got = os.read(self._in, 1 << 20)
        if not got:
            raise BrowserError("the browser has ended")
        *messages, self._buffer = (self._buffer + got).split(b"\0")
        for raw in messages:
            message = json.loads(raw)
            if "id" in message:
                self._answers[message["id"]] = message
            else:
                self._event(message["method"], message["params"])

    def _event(self, method: str, params: dict[str, Any]) -> None:
        if method == "Runtime.exceptionThrown":
            details = params["exceptionDetails"]
            self.errors.append(
                details.get("exception", {}).get("description") or str(details["text"])
            )
        elif method == "Runtime.consoleAPICalled" and params["type"] in (
            "error",
            "warning",
            "assert",
        ):
            self.errors.append(
                " ".join(str(a.get("value", a.get("description"))) for a in params["args"])
            )
        elif method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
            self.errors.append(params["entry"]["text"])
        elif method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        elif method == "Page.loadEventFired":
            self.loaded = True

    def attach(self) -> None:
        """Take the first page."""
        targets = self.call("Target.getTargets")["targetInfos"]
        page = next(t["targetId"] for t in targets if t["type"] == "page")
        self._session = self.call("Target.attachToTarget", targetId=page, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network", "Accessibility"):
            self.call(f"{domain}.enable")

    def size(self, width: int, height: int, *, touch: bool = False) -> None:
        """The page in a window of so many CSS pixels."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=touch,
        )
        self.call("Emulation.setTouchEmulationEnabled", enabled=touch, maxTouchPoints=1)

    def dark(self, on: bool) -> None:
        """Prefer dark colours, as a system setting would."""
        value = "dark" if on else "light"
        self.call(
            "Emulation.setEmulatedMedia",
            features=[{"name": "prefers-color-scheme", "value": value}],
        )

    def open(self, path: Path, fragment: str = "", *, fresh: bool = True) -> None:
        """Open a file and wait until it is loaded; `fresh` forgets first what pages have kept."""
        self._go("about:blank")  # what is left keeps what it has to keep
        if fresh:
            self.call("Storage.clearDataForOrigin", origin="file://", storageTypes="local_storage")
        self.errors.clear()
        self.requests.clear()
        self._go(path.absolute().as_uri() + (f"#{fragment}" if fragment else ""))

    def visit(self, address: str) -> None:
        """Open a page that is served, and wait until it is loaded."""
        self._go("about:blank")
        self.errors.clear()
        self.requests.clear()
        self._go(address)

    def reload(self) -> None:
        """The page as it is, anew."""
        self.loaded = False
        self.call("Page.reload")
        self._until_loaded()

    def _go(self, url: str) -> None:
        self.loaded = False
        self.call("Page.navigate", url=url)
        self._until_loaded()

    def _until_loaded(self) -> None:
        end = time.monotonic() + PATIENCE_S
        while not self.loaded:
            self._take(end)

    def run(self, script: str) -> Any:
        """The value of an expression; a promise is waited for. Raises `BrowserError` with what was thrown."""
        got = self.call(
            "Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True
        )
        if "exceptionDetails" in got:
            details = got["exceptionDetails"]
            raise BrowserError(
                details.get("exception", {}).get("description") or str(details["text"])
            )
        return got["result"].get("value")

    def wait(self, condition: str, patience_s: float = 30.0) -> None:
        """Until an expression holds. Raises `BrowserError`."""
        self.run(
            f"""new Promise((resolve, reject) => {{
                const end = performance.now() + {patience_s * 1000};
                const look = () => {{
                    if ({condition}) resolve(true);
                    else if (performance.now() > end) reject(new Error({json.dumps(condition)} + " did not come"));
                    else setTimeout(look, 15);
                }};
                look();
            }})"""
        )

    def type(self, text: str) -> None:
        """Text as a keyboard of a phone puts it in: at once, where the cursor is."""
        self.call("Input.insertText", text=text)

    def press(self, key: str, *, ctrl: bool = False, shift: bool = False) -> None:
        """One key down and up, with others held down."""
        text = {"Enter": "\r"}.get(key, key if len(key) == 1 else "")
        code = {
            " ": 32,
            "Backspace": 8,
            "Tab": 9,
            "Escape": 27,
            "End": 35,
            "Home": 36,
            "F8": 119,
            "Enter": 13,
            "ArrowLeft": 37,
            "ArrowUp": 38,
            "ArrowRight": 39,
            "ArrowDown": 40,
        }.get(key, ord(key.upper()) if len(key) == 1 else 0)
        for kind in ("keyDown", "keyUp"):
            self.call(
                "Input.dispatchKeyEvent",
                type=kind,
                key=key,
                text=text if kind == "keyDown" and not ctrl else "",
                windowsVirtualKeyCode=code,
                modifiers=2 * ctrl + 8 * shift,
            )

    def drag(self, points: list[tuple[float, float]]) -> None:
        """The left button pressed at the first point, moved through all, let go at the last."""
        for i, (x, y) in enumerate(points):
            kind = "mousePressed" if i == 0 else "mouseMoved"
            self.call(
                "Input.dispatchMouseEvent",
                type=kind,
                x=x,
                y=y,
                button="left",
                buttons=1,
                clickCount=1,
            )
        x, y = points[-1]
        self.call(
            "Input.dispatchMouseEvent", type="mouseReleased", x=x, y=y, button="left", clickCount=1
        )

    def swipe(self, points: list[tuple[float, float]]) -> None:
        """A finger put down at the first point, moved through all, lifted at the last."""
        for i, (x, y) in enumerate(points):
            self.call(
                "Input.dispatchTouchEvent",
                type="touchMove" if i else "touchStart",
                touchPoints=[{"x": x, "y": y}],
            )
        self.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    def names(self) -> list[tuple[str, str]]:
        """Role and name of everything in the accessibility tree."""
        nodes = self.call("Accessibility.getFullAXTree")["nodes"]
        return [
            (n.get("role", {}).get("value", ""), n.get("name", {}).get("value", ""))
            for n in nodes
            if not n.get("ignored")
        ]

    def picture(self, path: Path) -> None:
        """What is seen, as PNG."""
        path.write_bytes(
            base64.b64decode(self.call("Page.captureScreenshot", format="png")["data"])
        )

    def slowed(self, rate: float) -> None:
        """The page's thread so many times slower, as on a slow machine."""
        self.call("Emulation.setCPUThrottlingRate", rate=rate)

    def scripts(self, on: bool) -> None:
        """Whether pages that are opened from now on may run scripts."""
        self.call("Emulation.setScriptExecutionDisabled", value=not on)

    def pdf(self, *, backgrounds: bool = True) -> bytes:
        """The page as it prints, on A4."""
        got = self.call(
            "Page.printToPDF",
            paperWidth=8.27,
            paperHeight=11.69,
            printBackground=backgrounds,
            preferCSSPageSize=True,
        )
        return base64.b64decode(got["data"])


@contextlib.contextmanager
def browser() -> Iterator[Browser]:
    """A fresh browser with an empty profile. Raises `BrowserError` where there is none."""
    program = next(filter(None, map(shutil.which, NAMES)), None)
    if program is None:
        raise BrowserError(f"no browser: install one of {', '.join(NAMES)}")
    one = Browser(program)
    try:
        one.attach()
        yield one
    finally:
        one.close()
