"""Which soundfont plays when none is named: the user's choice, else the best that is found here.

The choice is one line in the user's configuration folder: a path, or `default` for the font that comes with pip. It is
made by `backing sounds use`.

Sources: XDG base directory specification for the folders, and what platformdirs says on two systems. The order of fonts
is by the tuning, touch and breadth that `backing sounds measure` finds (levels are evened out for all of them).
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path

DEFAULT = "default"  # the word for the font that comes with pip
# Files that are taken before the default one, best first; compressed samples (.sf3) cost twice the time and come last.
BETTER = (
    "MuseScore_General.sf2", "FluidR3_GM.sf2", "MuseScore_General_Lite.sf2", "MuseScore_General.sf3",
    "MuseScore_General_Lite.sf3",
)  # fmt: skip
_FILE = "soundfont"


def choice_file() -> Path:
    """Where the choice is kept."""
    return _folder("user_config_dir", "XDG_CONFIG_HOME", "~/.config") / _FILE


def cache_folder() -> Path:
    """Where what was measured of fonts is kept."""
    return _folder("user_cache_dir", "XDG_CACHE_HOME", "~/.cache") / "soundfonts"


def chosen() -> str:
    """The user's choice, "" where none was made."""
    try:
        return choice_file().read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return ""


def choose(what: str) -> None:
    """Keep a choice; "" takes it back. Raises OSError."""
    file = choice_file()
    if not what:
        file.unlink(missing_ok=True)
        return
    file.parent.mkdir(parents=True, exist_ok=True)
    part = file.with_name(f".{_FILE}.part")
    part.write_text(f"{what}\n", "utf-8")
    part.replace(file)


def best(found: Sequence[Path]) -> Path | None:
    """The best of the fonts that were found, None where none is known to be better than the default one."""
    ranked = [(BETTER.index(p.name), i, p) for i, p in enumerate(found) if p.name in BETTER]
    return min(ranked)[2] if ranked else None


def _folder(of_platform: str, variable: str, usual: str) -> Path:
    if sys.platform in ("darwin", "win32"):
        import platformdirs

        return Path(getattr(platformdirs, of_platform)("backing", appauthor=False))
    base = os.environ.get(variable, "").strip() or usual
    return Path(base).expanduser() / "backing"
