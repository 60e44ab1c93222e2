"""Short hashes of files, and of everything that shapes one."""

from __future__ import annotations

import hashlib
from pathlib import Path

_CHUNK = 1 << 20


def fingerprint(*parts: object) -> str:
    """A short hash (BLAKE2b) of everything that shapes a file."""
    digest = hashlib.blake2b(digest_size=16)
    for part in parts:
        data = part if isinstance(part, bytes) else str(part).encode("utf-8", "surrogatepass")
        digest.update(len(data).to_bytes(8, "big") + data)
    return digest.hexdigest()


def digest_of(path: Path) -> str:
    """The hash (BLAKE2b) of a file's bytes. Raises OSError."""
    digest = hashlib.blake2b(digest_size=16)
    with path.open("rb") as file:
        while data := file.read(_CHUNK):
            digest.update(data)
    return digest.hexdigest()
