"""Which soundfont plays, and whether it is one.

Order: the path that was asked for, `BACKING_SOUNDFONT`, the General MIDI one inside the pretty_midi package (found by
its path, without importing the package), and where that is missing the first in the system's usual folders. A bare
file name is also looked for in those folders.

Source: SoundFont technical specification 2.04, section 4 (a RIFF file of form `sfbk` with the lists `INFO`, `sdta`
and `pdta`; each chunk says its length).
"""

from __future__ import annotations

import importlib.util
import os
import struct
import sys
from collections.abc import Iterator
from pathlib import Path

from backing.ground.errors import AudioUnavailable

VARIABLE = "BACKING_SOUNDFONT"
_ENDINGS = (".sf2", ".sf3")


def find(asked: str | os.PathLike[str] | None = None) -> Path:
    """The soundfont to use, checked. Raises `AudioUnavailable`."""
    if asked is not None:
        return checked(_located(Path(asked), "--soundfont"))
    named = os.environ.get(VARIABLE)
    if named:
        return checked(_located(Path(named), VARIABLE))
    return default_soundfont()


def default_soundfont() -> Path:
    """The soundfont that plays when none is named. Raises `AudioUnavailable`."""
    spec = importlib.util.find_spec("pretty_midi")
    for folder in (spec.submodule_search_locations or ()) if spec else ():
        path = Path(folder) / "TimGM6mb.sf2"
        if path.is_file():
            return checked(path)
    for path in installed():
        return checked(path)
    raise AudioUnavailable(
        "there is no soundfont: install the package pretty_midi, which brings one, or name a General MIDI "
        f"soundfont (.sf2) with --soundfont or {VARIABLE}"
    )


def folders() -> list[Path]:
    """Where systems keep soundfonts."""
    home = Path.home()
    usual = [home / ".local/share/soundfonts", home / ".local/share/sounds/sf2"]
    if sys.platform == "darwin":
        usual += [home / "Library/Audio/Sounds/Banks", Path("/Library/Audio/Sounds/Banks")]
        usual += [Path("/opt/homebrew/share/soundfonts"), Path("/usr/local/share/soundfonts")]
    elif sys.platform == "win32":
        usual = [Path(os.environ.get("PROGRAMDATA", r"C:\ProgramData")) / "soundfonts"]
    else:
        usual += [Path("/usr/share/sounds/sf2"), Path("/usr/share/sounds/sf3")]
        usual += [Path("/usr/share/soundfonts"), Path("/usr/local/share/soundfonts")]
    return usual


def installed() -> Iterator[Path]:
    """The soundfonts in those folders, `default…` first in each."""
    for folder in folders():
        if folder.is_dir():
            found = [p for p in folder.iterdir() if p.suffix.lower() in _ENDINGS and p.is_file()]
            yield from sorted(found, key=lambda p: (not p.name.startswith("default"), p.name))


def checked(path: Path) -> Path:
    """The path of a file that is a whole soundfont. Raises `AudioUnavailable`."""
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(12)
            if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"sfbk":
                raise AudioUnavailable(f"{path} is not a soundfont (.sf2)")
            end = 8 + struct.unpack("<I", head[4:8])[0]
            if size < end:
                raise AudioUnavailable(
                    f"{path} is cut short: {size:,} of {end:,} bytes are there; fetch it again"
                )
            lists = []
            at = 12
            while at + 12 <= end:
                file.seek(at)
                kind, length, form = struct.unpack("<4sI4s", file.read(12))
                if kind == b"LIST":
                    lists.append(form)
                at += 8 + length + length % 2
    except OSError as error:
        raise AudioUnavailable(f"the soundfont {path} cannot be read: {error.strerror}") from error
    if not {b"sdta", b"pdta"} <= set(lists):
        raise AudioUnavailable(f"{path} is damaged: a soundfont has samples and presets")
    return path


def _located(path: Path, source: str) -> Path:
    if path.is_file():
        return path
    if path.name == str(path):
        for folder in folders():
            if (folder / path).is_file():
                return folder / path
    raise AudioUnavailable(
        f"{source} names {path}, which is not there; give the path of a .sf2 file"
    )
