"""The golden page of each style: its first idea of every player at home, in three and in seven.

`python -m tests.golden_styles` writes the pages anew; read what `git diff` shows before keeping it.
"""

from __future__ import annotations

from pathlib import Path

from backing.ground.timebase import Meter
from backing.styles.cells import write
from backing.styles.find import styles
from backing.styles.grid import part_choices, telling
from backing.styles.model import Style, Where
from backing.styles.shelf import file_name

FOLDER = Path(__file__).parent / "golden" / "styles"
AWAY = (Meter.of(3, 4), Meter.of(4, 4), Meter.of(7, 8))


def golden_path(style: Style) -> Path:
    return (FOLDER / file_name(style.name)).with_suffix(".txt")


def golden_page(style: Style) -> str:
    """The heaviest pattern for time and for the end of a phrase, at mf, in each meter."""
    lines = [style.name]
    for meter in (style.meters[0], *(m for m in AWAY if m != style.meters[0])):
        how = telling(style.meters, meter)
        lines += ["", f"{meter.full_name}: {how}" if how else meter.full_name]
        for part in style.parts:
            for where in (Where.TIME, Where.PHRASE_END):
                pool = part_choices(part, meter, "mf", where)
                if not pool or (where is Where.PHRASE_END and part.role != "drums"):
                    continue
                pattern = max(pool, key=lambda p: p.weight)
                lines.append(f"  {part.role}: {pattern.name}")
                width = max(map(len, pattern.lines))
                lines += [f"    {n:{width}}  {write(line)}" for n, line in pattern.lines.items()]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Write every page."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    for style in styles():
        golden_path(style).write_text(golden_page(style), "utf-8")


if __name__ == "__main__":
    main()
