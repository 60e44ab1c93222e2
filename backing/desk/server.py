"""The server of a desk: bound to this machine, opened once it listens, ended when it is told to."""

from __future__ import annotations

import hashlib
import os
import secrets
import socket
from collections.abc import Callable, Sequence
from pathlib import Path

import uvicorn

from backing.desk.app import Asked, application
from backing.desk.door import HOST, Door
from backing.ground.errors import OutputError

CLOSING_S = 2  # what is still being answered when the desk ends has so long
MOST_MESSAGE = 8_000_000  # bytes


class Server(uvicorn.Server):
    """Says when it listens."""

    listening: Callable[[], None] = staticmethod(lambda: None)

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self.listening()


def serve(
    ports: Sequence[int],
    asked: Callable[[Callable[[], None]], Asked],
    opened: Callable[[str], None],
) -> None:
    """Serve until it is ended; `asked` is given how to end it, `opened` the address once it listens.

    The first of `ports` that is free is taken, 0 for any. Raises `OutputError` where none is.
    """
    with bound(ports) as listener:
        port = listener.getsockname()[1]
        token = secrets.token_urlsafe(24)

        def end() -> None:
            server.should_exit = True

        config = uvicorn.Config(
            Door(application(asked(end)), port, token),
            log_config=None,
            access_log=False,
            lifespan="on",
            ws="websockets-sansio",
            ws_per_message_deflate=False,
            ws_max_size=MOST_MESSAGE,
            server_header=False,
            timeout_graceful_shutdown=CLOSING_S,
        )
        server = Server(config)
        server.listening = lambda: opened(f"http://{HOST}:{port}/?token={token}")
        server.run(sockets=[listener])


def bound(ports: Sequence[int]) -> socket.socket:
    """A socket on this machine alone. Raises `OutputError`."""
    for port in ports:
        found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if os.name == "posix":  # elsewhere it would share a port that is in use
                found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            found.bind((HOST, port))
        except OSError:
            found.close()
        else:
            return found
    raise OutputError(f"port {ports[-1]} is in use, or not allowed; --port 0 takes a free one")


def own_port(folder: Path) -> int:
    """The port that a folder usually has, of those that nobody is given by name (IANA: 49152 to 65535).

    A browser keeps what it keeps by address, so one that stays the same finds again what was typed and not saved.
    """
    digest = hashlib.blake2b(os.fsencode(os.path.realpath(folder)), digest_size=4).digest()
    return 49_152 + int.from_bytes(digest, "big") % (65_536 - 49_152)
