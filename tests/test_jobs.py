"""What is due and why, and a log that survives being cut anywhere.

Source: how build tools keep such logs (common practice); every case is checked at every length of the log.
"""

from __future__ import annotations

from itertools import product

import pytest

from backing.output.jobs import Found, Output, Row, due, header, line, read, text, trusted

MAKES = {"notes": "n1", "font": "f1"}
ROWS = tuple(
    Row(path, {**MAKES, "name": path}, digest, was, size, 10**18 + size)
    for path, digest, was, size in (
        ("tune.mp3", "d1", "", 5),
        ("loops/tune-Ä.wav", "d2", "d0", 7),
        ("tune.mp3", "d3", "d1", 6),
    )
)


@pytest.mark.parametrize(
    ("found", "row", "kind"),
    [
        (None, False, "missing"),
        (None, True, "missing"),
        ("new", True, None),
        ("old", True, "unfinished"),  # the stop came between the row and the file
        ("edited", True, "not ours"),
        ("new", False, "not ours"),  # nobody knows who made it
        ("special", True, "not ours"),  # a link, a folder, a pipe
        ("special", False, "not ours"),
    ],
)
def test_whose_it_is_comes_before_whether_it_is_stale(
    found: str | None, row: bool, kind: str | None
) -> None:
    there = None if found is None else Found(None if found == "special" else found)
    old = Row("a", MAKES, "new", "old", 1, 1) if row else None
    why = due(Output("a", MAKES), old, there)
    assert (why and why.kind) == kind
    stale = due(Output("a", {**MAKES, "font": "f2"}), old, there)
    assert (stale and stale.kind) == (kind or "changed")
    if kind is None:
        assert stale is not None
        assert stale.words == "font"


@pytest.mark.parametrize("length", range(len(text(ROWS)) + 1))
def test_a_log_cut_at_any_length_is_read_as_far_as_it_is_whole_and_goes_on_from_there(
    length: int,
) -> None:
    whole = text(ROWS)
    rows, good = read(whole[:length])
    assert good <= length
    assert whole[:good].endswith(b"\n") or good == 0
    lines = max(0, whole[:length].count(b"\n") - 1)
    assert rows == {row.path: row for row in ROWS[:lines]}
    after = (whole[:good] or header()) + line(ROWS[1])
    assert read(after) == ({**rows, ROWS[1].path: ROWS[1]}, len(after))


@pytest.mark.parametrize(
    "first",
    [
        b"",
        b"\n",
        b"{}\n",
        b"[1]\n",
        b'{"log":"files made by backing","version":2}\n',
        b"\xff\n",
        b"[" * 50_000 + b"\n",
    ],
)
def test_a_log_of_an_unknown_version_means_starting_over(first: bytes) -> None:
    assert read(first + line(ROWS[0])) == ({}, 0)


@pytest.mark.parametrize(
    "wrong", [b"{}", b"3", b'{"path":1}', line(ROWS[0])[:-1].replace(b'"d1"', b"7"), b"\0" * 40]
)
def test_what_is_no_row_and_whatever_follows_it_does_not_count(wrong: bytes) -> None:
    start = header() + line(ROWS[0])
    assert read(start + wrong + b"\n" + line(ROWS[1])) == ({"tune.mp3": ROWS[0]}, len(start))


def test_size_and_time_are_trusted_only_where_the_log_is_clearly_younger() -> None:
    row = ROWS[0]
    second = 10**9
    for size, time, later in product((5, 6), (0, 1), (0, second, 3 * second)):
        told = trusted(row, size, row.time_ns + time, row.time_ns + later)
        assert told == ((size, time, later) == (5, 0, 3 * second))
