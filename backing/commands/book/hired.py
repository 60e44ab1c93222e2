"""Who works on a book."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from backing.output.crew import Crew


def here(workers: int) -> Crew:
    """So many processes on this machine, or this one alone."""
    from backing.output import crew

    return crew.processes(workers) if workers > 1 else crew.alone


@contextmanager
def hired(
    workers: int, scheduler: str | None, soundfont: Path | None
) -> Iterator[Callable[[int], Crew]]:
    """Who does jobs, asked for with how many there are: a cluster, else so many processes, else this one.

    Raises `OutputError` where the cluster cannot be used.
    """
    if scheduler is None:
        yield lambda count: here(min(workers, count))
        return
    from backing.output.cluster import connected

    with connected(scheduler, soundfont) as crew:
        yield lambda count: crew
