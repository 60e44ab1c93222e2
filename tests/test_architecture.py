"""The floors of the house: what a module may import, and what starting the program loads."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from backing.ground.version import VERSION

ROOT = Path(__file__).parent.parent / "backing"

# Floors from the ground up: a module imports lower floors only, and its own folder.
FLOORS = (
    "ground",
    "harmony",
    "chart",
    "reading",
    "harmonising",
    "styles",
    "timeline",
    "band",
    "performance",
    "output",
    "live",
    "desk",
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
    "starlette",
    "uvicorn",
)


def modules() -> list[Path]:
    return sorted(ROOT.rglob("*.py"))


def unit(path: Path) -> str:
    """The package (or module at the top) that stands in the list of floors."""
    return path.relative_to(ROOT).with_suffix("").parts[0]


def module_name(path: Path) -> str:
    """The dotted name of a module; a package is named by its folder."""
    parts = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def nodes_of(path: Path, *, outermost: bool) -> Iterator[ast.AST]:
    """The nodes of a file's tree; with `outermost` only those that run when it is loaded, functions left out."""
    tree = ast.parse(path.read_text("utf-8"))
    waiting: list[ast.AST] = [tree]
    while waiting:
        node = waiting.pop()
        typing_only = isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
        if outermost and (typing_only or isinstance(node, ast.FunctionDef | ast.Lambda)):
            continue
        yield node
        waiting.extend(ast.iter_child_nodes(node))


def imports(path: Path, *, outermost: bool = False) -> set[str]:
    """Dotted names imported in a file, relative, function-local and typing imports too.

    `from a import b` counts as `a.b` where that is a module of this package, else as `a`; with `outermost` only what is
    imported when the file is loaded.
    """
    here = module_name(path).split(".")
    package = here if path.name == "__init__.py" else here[:-1]
    found: set[str] = set()
    for node in nodes_of(path, outermost=outermost):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            inner = {f"{module}.{alias.name}" for alias in node.names} & MODULES.keys()
            found |= inner
            if len(inner) < len(node.names):
                found.add(module)
    return found


MODULES = {module_name(path): path for path in modules()}


def test_a_module_imports_lower_floors_only() -> None:
    wrong = []
    for path in modules():
        here = unit(path)
        for name in imports(path):
            if name.startswith("backing.") and here != "__init__":
                there = name.split(".")[1]
                if FLOORS.index(there) > FLOORS.index(here):
                    wrong.append(f"{module_name(path)} imports {name}")
    assert not wrong


def test_no_modules_import_each_other_in_a_circle() -> None:
    """Whatever way they are imported; a circle is named with all its modules, in order."""
    graph = {name: imports(path) & MODULES.keys() - {name} for name, path in MODULES.items()}
    assert circle(graph) == []


def test_a_circle_is_found_and_named() -> None:
    assert circle({"a": {"b"}, "b": {"c"}, "c": {"b"}, "d": {"a"}}) == ["b", "c", "b"]
    assert circle({"a": {"b", "c"}, "b": {"c"}, "c": set()}) == []


def circle(graph: dict[str, set[str]]) -> list[str]:
    """The first circle on a walk in the order of names, back to where it begins; empty where there is none."""
    done: set[str] = set()
    for start in sorted(graph):
        way: list[tuple[str, Iterator[str]]] = [(start, iter(sorted(graph[start])))]
        while way and start not in done:
            name, ahead = way[-1]
            following = next((n for n in ahead if n not in done), None)
            names = [n for n, _ in way]
            if following is None:
                done.add(name)
                way.pop()
            elif following in names:
                return [*names[names.index(following) :], following]
            else:
                way.append((following, iter(sorted(graph[following]))))
        done.add(start)
    return []


@pytest.mark.parametrize(
    ("line", "counted"),
    [
        ("from . import lex", "backing.chart.lex"),
        ("from .lex import cells", "backing.chart.lex"),
        ("from ..chart import lex", "backing.chart.lex"),
        ("from backing.chart import lex", "backing.chart.lex"),
        ("import backing.chart.lex", "backing.chart.lex"),
        ("def f():\n    from backing.chart.lex import cells", "backing.chart.lex"),
        ("if TYPE_CHECKING:\n    from backing.chart.lex import cells", "backing.chart.lex"),
    ],
)
def test_every_way_to_import_is_counted(
    line: str, counted: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = ROOT / "chart" / "trial.py"
    monkeypatch.setattr(Path, "read_text", lambda self, *_: line)
    assert imports(path) == {counted}
    local = line.startswith(("def", "if"))
    assert (imports(path, outermost=True) == set()) == local


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
    assert int(count) < 23


def test_a_midi_file_is_made_without_anything_heavy(tmp_path: Path) -> None:
    """From chart to MIDI needs mido and nothing that makes sound, pages or progress bars."""
    chart = tmp_path / "tune.txt"
    chart.write_text("style: straight-ahead swing\n| Dm7 | G7 | Cmaj7 | % |\n", "utf-8")
    unwanted = [name for name in (*HEAVY, "platformdirs", "json") if name != "mido"]
    code = (
        "import sys; from backing.commands.cli import run; "
        f"assert run(['make', {str(chart)!r}, '-o', {str(tmp_path / 'tune.mid')!r}]) == 0; "
        f"print([m for m in {unwanted!r} if m in sys.modules], 'mido' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[] True"


def test_the_version_is_told_once_and_its_changes_in_the_guide() -> None:
    """Whoever builds reads it where whoever asks does (tests/packaged.py installs what was built)."""
    project = tomllib.loads((ROOT.parent / "pyproject.toml").read_text("utf-8"))
    assert "version" not in project["project"]
    assert project["tool"]["hatch"]["version"]["path"] == "backing/ground/version.py"
    changes = (ROOT / "guide" / "changes.md").read_text("utf-8")
    assert re.findall(r"^## (.+)$", changes, re.M)[0] == VERSION
