"""The soundfonts of this machine: which there are, what each is good for, which one plays, and how to get better ones."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from backing.ground.errors import AudioUnavailable, OutputError, RequestError
from backing.ground.instruments import INSTRUMENTS, Instrument

AUTO = "auto"
_DRUMS_BANK = 128
_UNPITCHED = ("percussion", "click")
_LICENCE = 90  # characters that are shown
_GET = (
    "Better sound: on Debian and Ubuntu  apt install musescore-general-soundfont-small  or  fluid-soundfont-gm ; "
    "on Fedora  dnf install fluid-soundfont-gm ; on Arch  pacman -S soundfont-fluid ; "
    "elsewhere put a General MIDI .sf2 or .sf3 file into one of these folders:"
)


class Listed(NamedTuple):
    """A font: what it tells of itself and what is known of it. `fault` says why it cannot play, "" where it can.

    `missing` names instruments that it has no preset for; `known` is "shipped", "measured" or "no"; `worst_cents` is how
    far its worst key is off before it is tuned back, None where that is not known; `plays` marks the one that is used.
    """

    name: str
    path: str
    size_bytes: int
    licence: str
    missing: tuple[str, ...]
    known: str
    worst_cents: int | None
    fault: str
    plays: bool


def listed() -> list[Listed]:
    """All fonts found, the one that plays first. Raises `AudioUnavailable` where there is none at all."""
    from backing.output.sound.soundfont import default_soundfont, installed, told_find

    playing, _ = told_find()
    paths = {p.resolve(): p for p in reversed([playing, *installed(), default_soundfont()])}
    found = reversed(paths.values())
    return sorted((_listed(p, p == playing) for p in found), key=lambda font: not font.plays)


def _listed(path: Path, plays: bool) -> Listed:
    from backing.output.sound import fonts
    from backing.output.sound.soundfont import checked, contents

    size = path.stat().st_size
    try:
        told, presets = contents(checked(path))
    except AudioUnavailable as damaged:
        return Listed(path.stem, str(path), size, "", (), "no", None, str(damaged), plays)
    missing = tuple(n for n, i in INSTRUMENTS.items() if _preset(i) not in presets)
    measured = fonts.where(path)
    known = "no"
    if fonts.is_default(path) or (measured and measured.parent == fonts.OWN):
        known = "shipped"
    elif measured:
        known = "measured"
    cents = [abs(c) for keys in fonts.known(path).tuning.values() for c in keys]
    worst = None if known == "no" else round(max(cents, default=0.0))
    return Listed(
        told.name or path.stem,
        str(path),
        size,
        (told.copyright or told.comment)[:_LICENCE],
        missing,
        known,
        worst,
        "",
        plays,
    )


def _preset(instrument: Instrument) -> tuple[int, int]:
    unpitched = instrument.name in _UNPITCHED or instrument.name.endswith(" kit")
    return (_DRUMS_BANK if unpitched else 0, instrument.program)


def text(found: list[Listed]) -> str:
    """The list as people read it."""
    from backing.output.sound.soundfont import folders, told_find

    lines = []
    for font in found:
        lines.append(
            f"{'plays' if font.plays else '     '}  {font.name}, {font.size_bytes / 1e6:.0f} MB"
        )
        lines += [f"       {line}" for line in _about(font)]
    lines.append(f"It plays because {told_find()[1]}.")
    lines.append(_GET)
    return "\n".join([*lines, *(f"  {folder}" for folder in folders())])


def _about(font: Listed) -> list[str]:
    if font.fault:
        return [font.fault]
    tuned = {
        "no": "levels, tuning and touch not known: backing sounds measure "
        f"{_quoted(Path(font.path).name)}",
        "shipped": f"levels, tuning (worst key {font.worst_cents} cents, tuned back) and touch known",
        "measured": f"levels, tuning (worst key {font.worst_cents} cents, tuned back) and touch measured here",
    }[font.known]
    lines = [font.path, tuned]
    if font.licence:
        lines.append(f"says of itself: {font.licence}")
    if font.missing:
        lines.append(f"has no {', '.join(font.missing)}; the nearest preset plays")
    return lines


def _quoted(name: str) -> str:
    return f'"{name}"' if " " in name else name


def use(what: str) -> str:
    """Make a font the one that plays: `default`, `auto`, a name or a path. Returns what to say.

    Raises `AudioUnavailable` where it cannot play, `OutputError` where the choice cannot be kept.
    """
    from backing.output.sound import choice
    from backing.output.sound.soundfont import find, named
    from backing.output.sound.trial import passed

    kept = what
    if what == AUTO:
        kept = ""
    elif what != choice.DEFAULT:
        kept = str(passed(named(what, "backing sounds use")).absolute())
    try:
        choice.choose(kept)
    except OSError as error:
        raise OutputError(
            f"the choice cannot be kept in {choice.choice_file()}: {error.strerror}"
        ) from error
    return f"from now on {find()} plays"


def measure(what: str, tell: Callable[[float, str], None]) -> str:
    """Measure a font and keep what was found, by its content. Returns what to say. Raises `OutputError`."""
    from backing.output.sound import fonts, measuring
    from backing.output.sound.soundfont import named
    from backing.output.sound.trial import passed

    path = passed(named(what, "backing sounds measure"))
    if fonts.is_default(path):
        return f"{path.name} is known already"
    measured = measuring.measure(path, tell)
    try:
        file = fonts.keep(path, measured, path.stem)
    except OSError as error:
        raise OutputError(f"what was measured cannot be kept: {error.strerror}") from error
    worst = max((abs(row[3]) for row in measured.tuning), default=0)
    softened = sum(1 for cents in measured.cutoff.values() if cents)
    return (
        f"{path.name}: {len(measured.levels)} levels; worst key {worst} cents off, tuned back from now on; "
        f"{softened} instruments given touch; kept in {file}"
    )


def run(words: list[str], tell: Callable[[float, str], None]) -> str:
    """`use NAME` or `measure NAME`. Raises `RequestError`, `OutputError`."""
    if len(words) != 2 or words[0] not in ("use", "measure"):
        raise RequestError(
            f"backing sounds {' '.join(words)}: write  backing sounds ,  backing sounds use NAME  "
            "or  backing sounds measure NAME"
        )
    return use(words[1]) if words[0] == "use" else measure(words[1], tell)
