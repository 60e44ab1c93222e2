"""Memory: whether this process may take what sound and sheets need, and when it goes back to the system.

The libraries below end the whole program where they get none, with nothing that could be caught; a limit that was set
(`ulimit -v`) is known beforehand, and told. Source: measured, three players for a minute end at 500 MB and run at 600.

A transform of a block takes half a megabyte and frees it; a C library that hands that back each time fetches it anew
page by page, for more than the transform costs. So it is asked to keep it until the rendering is over (glibc; mallopt(3)).
"""

from __future__ import annotations

import ctypes
from contextlib import suppress

from backing.ground.errors import OutputError

NEEDED = 600_000_000  # bytes of addresses
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3  # numbers in malloc.h
_KEPT = 4 << 20  # bytes, in each thread; a transform with its buffers takes less


def enough() -> None:
    """Raises `OutputError` where the limit of this process is too low."""
    try:
        import resource
    except ImportError:  # a system without such limits
        return
    limit, _ = resource.getrlimit(resource.RLIMIT_AS)
    if limit != resource.RLIM_INFINITY and limit < NEEDED:
        raise OutputError(
            f"this process may take {limit // 1_000_000} MB of memory (ulimit -v), and sound and sheets need "
            f"{NEEDED // 1_000_000}; raise the limit, or make .mid, .json or .vtt"
        )


def keep() -> None:
    """From now on keep what is freed, where the C library can (glibc)."""
    with suppress(AttributeError, OSError, TypeError):
        library = ctypes.CDLL(None)
        library.mallopt(_TRIM_THRESHOLD, _KEPT)
        library.mallopt(_MMAP_THRESHOLD, _KEPT)


def give_back() -> None:
    """Hand the system back what is free, where the C library can (glibc)."""
    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)
