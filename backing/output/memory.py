"""Whether this process may take the memory that sound and sheets need, asked before a library takes it.

The libraries below end the whole program where they get none, with nothing that could be caught; a limit that was set
(`ulimit -v`) is known beforehand, and told. Source: measured, three players for a minute end at 500 MB and run at 600.
"""

from __future__ import annotations

from backing.ground.errors import OutputError

NEEDED = 600_000_000  # bytes of addresses


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
