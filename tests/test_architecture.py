"""The floors of the house: what a module may import, and what starting the program loads."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "backing"

# Floors from the ground up: a module imports lower floors only, and its own folder.
FLOORS = (
    "ground",
    "harmony",
    "chart",
    "styles",
    "timeline",
    "band",
    "performance",
    "output",
    "commands",
    "__init__",
    "__main__",
)
HEAVY = (
    "numpy",
    "mido",
    "fluidsynth",
    "pydub",
    "pretty_midi",
    "imageio_ffmpeg",
    "typst",
    "rich",
)


def modules() -> list[Path]:
    return sorted(ROOT.rglob("*.py"))


def unit(path: Path) -> str:
    """The package (or module at the top) that stands in the list of floors."""
    return path.relative_to(ROOT).with_suffix("").parts[0]


def imports(path: Path, *, outermost: bool = False) -> set[str]:
    """Dotted names imported in a file; with `outermost` only those that run when it is loaded."""
    tree = ast.parse(path.read_text("utf-8"))
    checked = [
        n
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
        for n in ast.walk(node)
    ]
    nodes = tree.body if outermost else [n for n in ast.walk(tree) if n not in checked]
    found: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found.update(a.name for a in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return found


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_imports_lower_floors_only(path: Path) -> None:
    here = unit(path)
    for name in imports(path):
        if name.startswith("backing.") and here != "__init__":
            there = name.split(".")[1]
            assert FLOORS.index(there) <= FLOORS.index(here), f"{here} must not import {there}"


def test_the_ground_floor_needs_the_standard_library_only() -> None:
    for path in (ROOT / "ground").glob("*.py"):
        for name in imports(path):
            top = name.split(".")[0]
            assert top == "backing" or top in sys.stdlib_module_names, name


def test_players_do_not_import_each_other() -> None:
    """What one player must know of another is passed in by the arrangement."""
    players = ("keys", "guitar", "bass", "drums", "percussion", "lines", "click")
    for name in players:
        path = ROOT / "band" / "players" / f"{name}.py"
        others = {f"backing.band.players.{p}" for p in players if p != name}
        assert not imports(path) & others, name


def test_modules_stay_small_enough_to_read() -> None:
    for path in modules():
        assert len(path.read_text("utf-8").splitlines()) <= 450, path.name


def test_starting_the_command_line_loads_nothing_heavy() -> None:
    """Measured in a process of its own: typer, the standard library and this package's light modules."""
    code = (
        "import sys; import backing.commands.cli; "
        f"print([m for m in {HEAVY!r} if m in sys.modules]); "
        "print(sum(m.startswith('backing') and not hasattr(v, '__path__') for m, v in sys.modules.items()))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    heavy, count = done.stdout.splitlines()
    assert heavy == "[]"
    assert int(count) < 20


def test_a_midi_file_is_made_without_anything_heavy(tmp_path: Path) -> None:
    """From chart to MIDI needs mido and nothing that makes sound, pages or progress bars."""
    chart = tmp_path / "tune.txt"
    chart.write_text("style: medium swing\n| Dm7 | G7 | Cmaj7 | % |\n", "utf-8")
    unwanted = [name for name in (*HEAVY, "platformdirs", "json") if name != "mido"]
    code = (
        "import sys; from backing.commands.cli import run; "
        f"assert run(['make', {str(chart)!r}, '-o', {str(tmp_path / 'tune.mid')!r}]) == 0; "
        f"print([m for m in {unwanted!r} if m in sys.modules], 'mido' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[] True"
