"""A desk as a process of its own, and somebody who speaks HTTP to it, as a browser or as a stranger would.

`python -m tests.desks 100` opens and closes so many, and tells what is left of them.
"""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

from websockets.sync.client import ClientConnection, connect

ROOT = Path(__file__).parent.parent
HOST = "127.0.0.1"


class Answer(NamedTuple):
    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def told(self) -> Any:
        return json.loads(self.body)


class Desk:
    """A desk that serves; `token` and `port` are those of the address that it printed."""

    def __init__(
        self, folder: Path, *more: str, environment: Mapping[str, str] | None = None
    ) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "backing", "desk", str(folder), "--no-browser", *more],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, **(environment or {})},
        )
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()
        self.port = int(self.address.partition("?")[0].rstrip("/").rpartition(":")[2] or 0)
        self.token = self.address.rpartition("=")[2]
        self.host = f"{HOST}:{self.port}"
        self.origin = f"http://{self.host}"
        self.cookie = f"desk-{self.port}={self.token}"

    @property
    def ours(self) -> dict[str, str]:
        """The headers of the desk's own page."""
        return {"Host": self.host, "Origin": self.origin, "Cookie": self.cookie}

    def ask(
        self, method: str, path: str, headers: Mapping[str, str], body: bytes | None = None
    ) -> Answer:
        """One request with these headers and no others."""
        line = http.client.HTTPConnection(HOST, self.port, timeout=30)
        try:
            line.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in headers.items():
                line.putheader(name, value)
            if body is not None:
                line.putheader("Content-Length", str(len(body)))
            line.endheaders(body)
            got = line.getresponse()
            told = {name.lower(): value for name, value in got.getheaders()}
            return Answer(got.status, told, b"" if got.status == 101 else got.read())
        finally:
            line.close()

    def get(self, path: str) -> Any:
        return self.ask("GET", path, self.ours).told

    def post(self, path: str, **told: object) -> Any:
        headers = {**self.ours, "Content-Type": "application/json"}
        return self.ask("POST", path, headers, json.dumps(told).encode()).told

    @contextmanager
    def line(self, path: str = "/edit") -> Iterator[ClientConnection]:
        """A WebSocket as the page has it."""
        with connect(
            f"ws://{self.host}{path}",
            origin=self.origin,  # type: ignore[arg-type]
            additional_headers={"Cookie": self.cookie},
            max_size=None,
            compression=None,
            proxy=None,
        ) as line:
            yield line

    def end(self, by: int = signal.SIGINT) -> tuple[int, str]:
        """End it by a signal; its exit code and what it said."""
        self.process.send_signal(by)
        return self.ended()

    def ended(self) -> tuple[int, str]:
        """Wait until it has ended."""
        try:
            _, said = self.process.communicate(timeout=20)
        except subprocess.TimeoutExpired:
            self.process.kill()
            raise
        return self.process.returncode, said


@contextmanager
def desk(folder: Path, *more: str, **how: Any) -> Iterator[Desk]:
    """A desk that has ended when the block ends."""
    one = Desk(folder, *more, **how)
    try:
        yield one
    finally:
        if one.process.poll() is None:
            one.end(signal.SIGTERM)
        for stream in (one.process.stdout, one.process.stderr):
            if stream is not None:
                stream.close()


def asked(line: ClientConnection, do: str, **what: object) -> Any:
    """The answer to one ask over a line."""
    line.send(json.dumps({"id": 1, "do": do, **what}))
    while True:
        said = json.loads(line.recv(timeout=60))
        if "answer" in said or "failed" in said:
            return said


def left_of(folder: Path) -> list[str]:
    """Processes of this machine that name the folder (Linux: /proc/PID/cmdline)."""
    found = []
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        with suppress(OSError):
            words = path.read_bytes().split(b"\0")
            if str(folder).encode() in words and b"backing" in b" ".join(words):
                found.append(b" ".join(words).decode())
    return found


def listens(port: int) -> bool:
    with socket.socket() as line:
        return line.connect_ex((HOST, port)) == 0


def main(count: int) -> None:
    """Open and close desks, by Ctrl-C and by the page in turn, used and unused; tell what is left of them."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "charts"
        folder.mkdir()
        (folder / "tune.txt").write_text("| C | F | G7 | C |\n", "utf-8")
        temporary = Path(place) / "tmp"
        temporary.mkdir()
        codes, ports = [], []
        for n in range(count):
            with desk(folder, environment={"TMPDIR": str(temporary)}) as one:
                ports.append(one.port)
                if n % 4 > 1:
                    with one.line() as line:
                        asked(line, "look", text="| C |", revision=1)
                        made = asked(line, "make", kind="mid", text="| C |", name="a.txt", wish={})
                        assert (
                            one.ask("GET", f"/taken/{made['answer']['job']}/0", one.ours).body[:4]
                            == b"MThd"
                        )
                if n % 2:
                    one.post("/end")
                    codes.append(one.ended()[0])
                else:
                    codes.append(one.end()[0])
        print(f"{count} desks: exit codes {sorted(set(codes))}")
        print(f"processes left: {len(left_of(folder))}")
        print(f"ports left: {sum(map(listens, set(ports)))}")
        print(
            f"files left: {sorted(p.name for p in folder.iterdir() if p.name != 'tune.txt') + sorted(p.name for p in temporary.iterdir())}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
