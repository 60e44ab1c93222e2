"""Reads the tables of expected chord symbols in `tests/data`."""

from __future__ import annotations

from pathlib import Path

DATA = Path(__file__).parent / "data"
SPELLED_OUT = {
    "<space>C7<space>": " C7 ",
    "<three spaces>": "   ",
    "<U+0421>m7": "\u0421m7",
    "<C followed by 200 times (b9>": "C" + "(b9" * 200,
}


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a table, each by column name; missing cells at the end are empty."""
    lines = [
        line
        for line in (DATA / name).read_text("utf-8").splitlines()
        if line and not line.startswith("#")
    ]
    columns = lines[0].split("\t")
    found = []
    for line in lines[1:]:
        cells = line.split("\t")
        found.append(dict(zip(columns, cells + [""] * (len(columns) - len(cells)), strict=True)))
    return found


def typed(cell: str) -> str:
    """An input of the odd table as it is typed."""
    return SPELLED_OUT.get(cell, cell)


def symbols() -> list[str]:
    """Every symbol of the table of expected values that is a chord."""
    return [row["symbol"] for row in rows("chord-symbols.tsv") if row["group"] != "nc"]
