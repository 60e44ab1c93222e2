"""Which soundfont plays, and whether it is one.

Order: the path that was asked for, `BACKING_SOUNDFONT`, the General MIDI one inside the pretty_midi package (found by
its path, without importing the package), and where that is missing the first in the system's usual folders. A bare
file name is also looked for in those folders.

Sources: SoundFont technical specification 2.04, sections 4 and 7 (a RIFF file of form `sfbk` with the lists `INFO`,
`sdta` and `pdta`; each chunk says its length; the nine tables and their rows, each with one at its end). Fonts with
compressed samples (`.sf3`) are built alike; some lack the byte that pads a chunk of odd length.
"""

from __future__ import annotations

import importlib.util
import os
import struct
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from backing.ground.errors import AudioUnavailable

VARIABLE = "BACKING_SOUNDFONT"
_ENDINGS = (".sf2", ".sf3")
# the tables of presets, instruments and samples, and the bytes of a row
_TABLES = {
    b"phdr": 38, b"pbag": 4, b"pmod": 10, b"pgen": 4,
    b"inst": 22, b"ibag": 4, b"imod": 10, b"igen": 4, b"shdr": 46,
}  # fmt: skip


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
        with path.open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(0)
            head = file.read(12)
            if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"sfbk":
                raise AudioUnavailable(f"{path} is not a soundfont (.sf2)")
            end = 8 + struct.unpack("<I", head[4:8])[0]
            if size < end:
                raise AudioUnavailable(
                    f"{path} is cut short: {size:,} of {end:,} bytes are there; fetch it again"
                )
            lists = {form: place for form, *place in _chunks(file, 12, end, form_bytes=4)}
            if not {b"INFO", b"sdta", b"pdta"} <= set(lists):
                raise AudioUnavailable(f"{path} is damaged: a soundfont has samples and presets")
            tables = {form: after - at for form, at, after in _chunks(file, *lists[b"pdta"])}
    except OSError as error:
        raise AudioUnavailable(f"the soundfont {path} cannot be read: {error.strerror}") from error
    for name, row in _TABLES.items():
        length = tables.get(name, 0)
        if length < row or length % row:
            raise AudioUnavailable(
                f"{path} is damaged: its table {name.decode()} is not whole; fetch it again"
            )
    return path


def _chunks(
    file: BinaryIO, at: int, end: int, form_bytes: int = 0
) -> Iterator[tuple[bytes, int, int]]:
    """Name (of lists, with `form_bytes`, their form), first byte of the content and byte after the last.

    A chunk of odd length should be padded; where the byte behind it is not the pad, the next one follows at once.
    """
    while at + 8 + form_bytes <= end:
        file.seek(at)
        name, length, form = struct.unpack(f"<4sI{form_bytes}s", file.read(8 + form_bytes))
        after = at + 8 + length
        if after > end:
            return
        if not form_bytes or name == b"LIST":
            yield form or name, at + 8 + form_bytes, after
        file.seek(after)
        at = after + (length % 2 and file.read(1) == b"\0")


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
