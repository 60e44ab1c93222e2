"""Where style files lie, and which file a style's name means.

Folders, the first that has the name wins: `BACKING_STYLES` (separated as in PATH), the user's data folder under
`backing/styles`, then the styles that come with this package. `bossa nova` is `bossa-nova.toml`: letters and digits
count, case does not, and everything else is one hyphen. Files whose name begins with `_` or `.` are no styles.
"""

from __future__ import annotations

import os
import re
import sys
import tomllib
from pathlib import Path
from typing import Any

from backing.ground.source import nearest

# former name: the style's name now, so that charts written with it still play; no list shows the former one
FORMER = {
    "medium swing":   "straight-ahead swing",
    "up-tempo swing": "fast swing",
}  # fmt: skip

_HERE = Path(__file__).resolve().parent.parent


def own_folder() -> Path:
    """The styles that come with this package: of the wheel, otherwise of the checkout."""
    packed = _HERE / "_styles"
    return packed if packed.is_dir() else _HERE.parent / "styles"


def user_folder() -> Path:
    """Where a user's own styles are looked for; as the XDG base directory specification says, but on two systems."""
    if sys.platform in ("darwin", "win32"):
        import platformdirs

        return Path(platformdirs.user_data_dir("backing", appauthor=False)) / "styles"
    data = os.environ.get("XDG_DATA_HOME", "").strip() or "~/.local/share"
    return Path(data).expanduser() / "backing" / "styles"


def folders() -> tuple[Path, ...]:
    """All folders that are searched, the first first."""
    named = [Path(p) for p in os.environ.get("BACKING_STYLES", "").split(os.pathsep) if p]
    return (*named, user_folder(), own_folder())


def file_name(name: str) -> str:
    """The file that a style's name means.

    >>> file_name("Bossa Nova"), file_name("Afro-Cuban 12/8")
    ('bossa-nova.toml', 'afro-cuban-12-8.toml')
    """
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") + ".toml"


def is_path(name: str) -> bool:
    """True when a style is asked for by its file."""
    return name.lower().endswith(".toml")


def path_of(name: str) -> Path | None:
    """The file of a style by its name or a former one, None when no folder has it."""
    files = [
        file_name(name),
        *(file_name(now) for old, now in FORMER.items() if file_name(old) == file_name(name)),
    ]
    return next(
        (p for file in files for folder in folders() if (p := folder / file).is_file()), None
    )


def paths() -> tuple[Path, ...]:
    """Every style file that can be named, by file name."""
    found: dict[str, Path] = {}
    for folder in folders():
        if folder.is_dir():
            for path in sorted(folder.glob("*.toml")):
                if not path.name.startswith(("_", ".")) and path.is_file():
                    found.setdefault(path.name, path)
    return tuple(found[name] for name in sorted(found))


def told(path: Path) -> tuple[str, str]:
    """What a style file calls itself and says of itself, with its meters; a mistake hides nothing."""
    said = settings(path)
    if not said:
        return path.stem.replace("-", " "), ""
    meters = " or ".join(str(meter).partition("(")[0] for meter in said.get("meters", ()))
    name = str(said.get("name", path.stem.replace("-", " ")))
    return name, f"{said.get('about', '')} In {meters}"


def like(path: Path) -> str:
    """The style that a style file is like, "" for none."""
    return str(settings(path).get("like", ""))


def file_of(name: str) -> Path | None:
    """The file of a style that is asked for by name or by its path; None for a name that no folder has."""
    return Path(name) if is_path(name) else path_of(name)


def files(name: str) -> tuple[Path, ...]:
    """The file of a style and those that it is like, which together say everything of it; none for an unknown name."""
    path, found = file_of(name), list[Path]()
    while path is not None and path.is_file() and path not in found:
        found.append(path)
        base = like(path)
        if not base:
            break
        path = path.parent / base if is_path(base) else path_of(base)
    return tuple(found)


def settings(path: Path) -> dict[str, Any]:
    """The settings of a style file above its first table; none of one that cannot be read."""
    try:
        return tomllib.loads(re.split(r"(?m)^\s*\[", path.read_text("utf-8"), maxsplit=1)[0])
    except (OSError, ValueError):
        return {}


def nearest_name(name: str) -> str | None:
    """The name of the style that is spelled most like `name`, as its own file writes it; None where none is near."""
    files = {path.stem.replace("-", " "): path for path in paths()}
    near = nearest(re.sub(r"[^a-z0-9]+", " ", name.lower()).strip(), list(files))
    return told(files[near])[0] if near else None
