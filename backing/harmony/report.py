"""What a chord symbol means, for people and for programs.

*Conventions*: semitones above the root are folded to 0 to 11 and rise; guide tones are the third (or what stands for it)
and the seventh (or sixth).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast

from backing.ground.pitch import Degree
from backing.harmony.symbol import Chord, SymbolError, read_with_warnings

Report = dict[str, object]
COLUMNS = ("symbol", "notes", "degrees", "guide tones", "left out")


def report(symbol_text: str, german: bool = False) -> Report:
    """One symbol as `--json` shows it: the chord, or `error` with code, message and hint."""
    try:
        chord, warnings = read_with_warnings(symbol_text, german)
    except SymbolError as wrong:
        error = {"code": wrong.code, "message": wrong.message, "hint": wrong.hint}
        return {"input": symbol_text, "error": error}
    return {
        "input": symbol_text,
        "symbol": chord.symbol if chord else "N.C.",
        "root": chord.root.name if chord else None,
        "bass": chord.bass.name if chord and chord.bass else None,
        "degrees": _names(chord.degrees) if chord else [],
        "semitones": sorted({d.semitones % 12 for d in chord.degrees}) if chord else [],
        "notes": [n.name for n in chord.notes] if chord else [],
        "must_sound": _names(chord.must_sound) if chord else [],
        "omit": _names(chord.omit) if chord else [],
        "warnings": [{"code": w.code, "message": w.message} for w in warnings],
    }


def _names(degrees: Sequence[Degree]) -> list[str]:
    return [d.name for d in degrees]


def guide_tones(chord: Chord) -> tuple[Degree, ...]:
    """The third, or the fourth or second in its place, and the seventh or sixth."""
    return _guides(chord.degrees, chord.omit)


def _guides(degrees: Sequence[Degree], omit: Sequence[Degree]) -> tuple[Degree, ...]:
    kept = [d for d in degrees if d not in omit]
    third = [d for d in kept if d.number == 3] or [d for d in kept if d.number in (2, 4)]
    if not third:
        third = [d for d in kept if d.number == 11 and d.alter == 0]
    above = [d for d in kept if d.number == 7] or [d for d in kept if d.number == 6]
    return tuple(third + above)


def text(reports: Sequence[Report], diagrams: Mapping[str, str] | None = None) -> str:
    """Reports to read: a table with a row a symbol, then what to know; with `diagrams` (symbol to text) a block each."""
    if diagrams:
        blocks = [_block(r, diagrams.get(str(r.get("symbol", "")), "")) for r in reports]
        return "\n\n".join(blocks)
    rows = [_cells(r) for r in reports if "error" not in r]
    lines: list[str] = []
    if rows:
        widths = [max(len(row[i]) for row in (COLUMNS, *rows)) for i in range(len(COLUMNS))]
        lines = [
            "  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip()
            for row in (COLUMNS, *rows)
        ]
    said = [line for r in reports for line in _remarks(r)]
    if lines and said:
        lines.append("")
    return "\n".join(lines + said)


def _cells(given: Report) -> tuple[str, ...]:
    names = cast("list[str]", given["degrees"])
    notes = cast("list[str]", given["notes"])
    omit = cast("list[str]", given["omit"])
    if not names:
        return str(given["symbol"]), "silence", "", "", ""
    guides = _guides([Degree.parse(d) for d in names], [Degree.parse(d) for d in omit])
    note_of = dict(zip(names, notes, strict=True))
    return (
        str(given["symbol"]),
        " ".join(notes),
        " ".join(names),
        " ".join(f"{note_of[d.name]} ({d.name})" for d in guides),
        " ".join(omit),
    )


def _block(given: Report, diagram: str) -> str:
    remarks = _remarks(given)
    if "error" in given:
        return "\n".join(remarks)
    head, *cells = _cells(given)
    lines = [head]
    for name, cell in zip(COLUMNS[1:], cells, strict=True):
        if cell:
            lines.append(f"  {name:<12} {cell}")
    lines.extend(f"  {line}" for line in remarks)
    if diagram:
        lines.extend(["", *(f"  {line}".rstrip() for line in diagram.splitlines())])
    return "\n".join(lines)


def _remarks(given: Report) -> list[str]:
    """Warnings, or why a symbol was refused."""
    error = given.get("error")
    if isinstance(error, dict):
        lines = [f"{given['input']}: {error['code']}: {error['message']}"]
        return [*lines, f"  hint: {error['hint']}"] if error["hint"] else lines
    warnings = given["warnings"]
    assert isinstance(warnings, list)
    return [f"{given['input']}: note: {w['message']}" for w in warnings]
