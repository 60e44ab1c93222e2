"""The digest of a soundfont, remembered beside the soundfont's size and time, for a big one takes a second to read.

Conventions: the user's folder of states holds a small file a soundfont; what is in it counts only while size and time
are the same, and where it cannot be kept, the soundfont is read.
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from backing.output.digest import digest_of, fingerprint
from backing.output.made import record


def digest_of_font(path: Path) -> str:
    """The hash of the bytes of a soundfont. Raises OSError."""
    told = path.stat()
    now = f"{told.st_size} {told.st_mtime_ns} {told.st_ino}"
    kept = record().parent / "soundfonts" / fingerprint(os.path.realpath(path))
    with suppress(OSError, ValueError, RuntimeError):
        then, digest = kept.read_text("ascii").splitlines()
        if then == now:
            return digest
    digest = digest_of(path)
    with suppress(OSError, RuntimeError):
        kept.parent.mkdir(parents=True, exist_ok=True)
        new = kept.with_name(f"{kept.name}.{os.getpid()}")
        new.write_text(f"{now}\n{digest}\n", "ascii")
        new.replace(kept)
    return digest
