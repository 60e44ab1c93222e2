"""Build sdist and wheel, install the wheel into a clean environment, and be its user outside the checkout.

    python -m tests.packaged

The wheel is built from the sdist, so that what lacks there is missed; the packages that it needs come from where pip
finds them. Ends with 1 and what is wrong where anything is not as it should be.
"""

from __future__ import annotations

import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

from backing.ground.version import VERSION

HOME = Path(__file__).parent.parent
TUNE = "title: Kettle\nkey: C major\ntempo: 300\nstyle: straight-ahead swing\n[A]\n| C6 | G7 |\n"
MADE = ("tune.mid", "tune.mp3", "tune.pdf", "tune.html")
# What is typed, and what must be in the answer.
COMMANDS = (
    ("--version", VERSION),
    ("styles bossa", "bossa nova"),
    ("guide changes", f"## {VERSION}"),
    ("explain E104", "E104"),
    ("check tune.txt", "Kettle"),
    ("make tune.txt " + " ".join(f"-o {name}" for name in MADE), "tune.mp3"),
    ("doctor", "encoder"),
)
# What the tests need: these files, and everything in these folders.
FILES = (
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "soundfonts/README.md",
    ".ci/run",
)
FOLDERS = ("backing", "styles", "tests", "demo")


def run(*words: object, cwd: Path) -> str:
    """What a program says. Raises `SystemExit` with all of it where it fails."""
    done = subprocess.run([*map(str, words)], cwd=cwd, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"{' '.join(map(str, words))}\n{done.stdout}{done.stderr}")
    return done.stdout


def built(into: Path) -> tuple[Path, Path]:
    """The sdist, and the wheel that is built from it."""
    run(sys.executable, "-m", "build", "--outdir", into, HOME, cwd=into)
    (source,), (wheel,) = into.glob("*.tar.gz"), into.glob("*.whl")
    return source, wheel


def lacking(source: Path) -> list[str]:
    """What the tests need and the sdist does not hold."""
    with tarfile.open(source) as archive:
        names = [name.partition("/")[2] for name in archive.getnames()]
    found = [name for name in FILES if name not in names]
    ours = [p for top in FOLDERS for p in (HOME / top).rglob("*") if p.is_file()]
    kept = {p.relative_to(HOME).as_posix() for p in ours if p.suffix not in (".pyc", ".pyo")}
    return found + sorted(kept - set(names))


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        source, wheel = built(place)
        if missed := lacking(source):
            raise SystemExit(f"{source.name} lacks {', '.join(missed)}")
        run(sys.executable, "-m", "venv", "clean", cwd=place)
        python = place / "clean" / "bin" / "python"
        run(python, "-m", "pip", "install", "-q", "--no-compile", wheel, cwd=place)
        (place / "tune.txt").write_text(TUNE, "utf-8")
        for line, words in COMMANDS:
            said = run(place / "clean" / "bin" / "backing", *line.split(), cwd=place)
            if words not in said:
                raise SystemExit(f"backing {line}: {words!r} is not in what it says\n{said}")
        home = run(python, "-c", "import backing; print(backing.__file__)", cwd=place).strip()
        if not Path(home).is_relative_to(place):
            raise SystemExit(f"it is {home} that ran")
        if small := [name for name in MADE if (place / name).stat().st_size < 500]:
            raise SystemExit(f"hardly anything in {', '.join(small)}")
        print(f"{source.name} and {wheel.name} ({wheel.stat().st_size / 1e6:.1f} MB) work")


if __name__ == "__main__":
    main()
