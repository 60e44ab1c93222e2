"""The rows of one table are one test: `each` runs a test for every row and lists all rows that fail."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable, Sequence
from functools import wraps
from typing import Any

import pytest

Test = Callable[..., None]


def each(
    names: str | Sequence[str], rows: Iterable[Any], ids: Callable[[Any], object] | None = None
) -> Callable[[Test], Test]:
    """Give a test every row in turn; written like `pytest.mark.parametrize`, but one test whatever the rows.

    `names` are the parameters that a row fills, `ids` tells how a row is called in the list of failures. Where a
    test needs something anew for each row (a folder, a patched function) it is parametrised instead.
    """
    keys = [n.strip() for n in names.split(",")] if isinstance(names, str) else list(names)
    table = [tuple(row) if len(keys) > 1 else (row,) for row in rows]
    assert table, "a table without rows tests nothing"
    assert all(len(row) == len(keys) for row in table), "a row has other columns than the test"

    def decorated(test: Test) -> Test:
        @wraps(test)
        def over_all_rows(**fixtures: Any) -> None:
            __tracebackhide__ = True
            failed: list[str] = []
            first: BaseException | None = None
            for row in table:
                try:
                    test(**dict(zip(keys, row, strict=True)), **fixtures)
                except (
                    Exception,
                    pytest.fail.Exception,
                ) as wrong:  # whatever fails, the rest is tried
                    first = first or wrong
                    failed.append(f"{_called(row, ids)}: {_said(wrong)}")
            if failed:
                count = f"{len(failed)} of {len(table)} rows fail"
                raise AssertionError("\n".join([count, *failed])) from first

        given = inspect.signature(test).parameters
        kept = [p for name, p in given.items() if name not in keys]
        over_all_rows.__signature__ = inspect.Signature(kept)  # type: ignore[attr-defined]
        return over_all_rows

    return decorated


def _called(row: tuple[Any, ...], ids: Callable[[Any], object] | None) -> str:
    cells = row if ids is None else [ids(cell) for cell in row]
    said = [cell if isinstance(cell, str) else repr(cell) for cell in cells]
    return " | ".join(cell if len(cell) <= 80 else f"{cell[:60]}…" for cell in said)


def _said(wrong: BaseException) -> str:
    """An error in at most eight lines."""
    name = type(wrong).__name__
    lines = str(wrong).splitlines() or [""]
    cut = [*lines[:8], "…"] if len(lines) > 8 else lines
    return "\n    ".join([f"{name}: {cut[0]}", *cut[1:]])
