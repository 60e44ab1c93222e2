"""Which soundfont plays, and whether it is one.

Order: what was asked for, `BACKING_SOUNDFONT`, the user's choice (`choice`), the best in the system's usual folders
of those whose levels are known, the General MIDI one inside the pretty_midi package (found by its path, without importing the package), and
where that is missing the first in those folders. A bare file name is also looked for in those folders, and `default`
is the one inside pretty_midi.

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
from backing.output.sound import choice, fonts, tables, trial
from backing.output.sound.choice import DEFAULT

VARIABLE = "BACKING_SOUNDFONT"
_ENDINGS = (".sf2", ".sf3")
_SAMPLES = b"smpl"


def find(asked: str | os.PathLike[str] | None = None) -> Path:
    """The soundfont to use, checked. Raises `AudioUnavailable`."""
    return told_find(asked)[0]


def told_find(asked: str | os.PathLike[str] | None = None) -> tuple[Path, str]:
    """The soundfont to use, checked, and why it is that one. Raises `AudioUnavailable`."""
    for name, source, why in (
        (os.fspath(asked) if asked is not None else "", "--soundfont", "it was asked for"),
        (os.environ.get(VARIABLE, ""), VARIABLE, f"{VARIABLE} names it"),
        (
            choice.chosen(),
            choice.choice_file(),
            "you chose it; backing sounds use auto takes that back",
        ),
    ):
        if name:
            return named(name, str(source)), why
    better = choice.best([path for path in installed() if fonts.where(path) is not None])
    if better is not None:
        return trial.passed(checked(better)), "the best one found; backing sounds shows all"
    return default_soundfont(), "it comes with pip; backing sounds tells how to get a better one"


def named(name: str, source: str) -> Path:
    """The soundfont of a path or a name, checked; `source` is who named it. Raises `AudioUnavailable`."""
    if name == DEFAULT:
        return default_soundfont()
    return trial.passed(checked(_located(Path(name), source)))


def default_soundfont() -> Path:
    """The soundfont that comes with pip, else the first in the usual folders. Raises `AudioUnavailable`."""
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
        lists, chunks = _places(path)
        rows = tables.by_name(path, {name: chunks[name] for name in tables.ROWS if name in chunks})
    except OSError as error:
        raise AudioUnavailable(f"the soundfont {path} cannot be read: {error.strerror}") from error
    if not {b"INFO", b"sdta", b"pdta"} <= lists:
        raise AudioUnavailable(f"{path} is damaged: a soundfont has samples and presets")
    start, end = chunks.get(_SAMPLES, (0, 0))
    fault = tables.fault(rows, end - start)
    if fault:
        raise AudioUnavailable(f"{path} is damaged: {fault}; fetch it again")
    return path


def contents(path: Path) -> tuple[tables.Told, frozenset[tuple[int, int]]]:
    """What a checked soundfont tells of itself, and bank and program of its presets. Raises OSError."""
    _, chunks = _places(path)
    found = tables.by_name(
        path, {n: at for n, at in chunks.items() if n == b"phdr" or n[:1] == b"I"}
    )
    return tables.told(found), tables.presets(found[b"phdr"])


def _places(path: Path) -> tuple[set[bytes], dict[bytes, tuple[int, int]]]:
    """The lists of a file, and where the chunks inside them lie. Raises OSError, `AudioUnavailable`."""
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
        chunks = {
            name: (start, after)
            for place in lists.values()
            for name, start, after in _chunks(file, *place)
        }
    return set(lists), chunks


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
