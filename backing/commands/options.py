"""What may be asked of a track on the command line, read from text and checked.

Conventions: lengths in seconds, bars by the number on the sheet, percentages as fractions of the written tempo.
Everything that is no option value raises `RequestError` with what to type instead.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from backing.chart.ast import Ending, EndingKind
from backing.ground.errors import RequestError
from backing.ground.pitch import Key
from backing.ground.roles import PLAYERS, ROLES, in_score_order
from backing.ground.source import nearest

CLICKS = ("off", "beats", "backbeat", "downbeat", "eighths", "triplets", "offbeats", "groups")
TRANSPOSING = ("Bb", "Eb", "F")  # instruments that a sheet can be written for
PAPERS = ("a4", "letter")
MIN_PERCENT, MAX_PERCENT = 10, 400


class Options(NamedTuple):
    """Everything that shapes one track; the defaults ask for the chart as it stands."""

    tempo_bpm: Fraction | None = None
    tempo_percent: Fraction | None = None
    key: Key | None = None
    transpose: int | None = None
    style: str | None = None
    choruses: int | None = None
    length_s: float | None = None
    sections: tuple[str, ...] = ()
    bars: tuple[int, int] | None = None
    ending: Ending | None = None
    count_in: int | None = None  # bars, 0 for none
    click: str = "off"
    without: tuple[str, ...] = ()
    only: tuple[str, ...] = ()
    guide_tones: bool = False
    plain: bool = False
    seed: int = 1
    soundfont: Path | None = None
    loudness: float = -16.0
    a4: float = 440.0
    stems: bool = False
    stems_as: str | None = None  # WAV beside a track, MP3 in a lesson
    loop: bool = False
    bits: int = 16
    transposing: str | None = None
    paper: str = "a4"
    signs: bool = False
    grips: bool = False
    force: bool = False


def near(word: str, names: Sequence[str]) -> str:
    """` Did you mean …?` for a near name, otherwise nothing."""
    found = nearest(word, names)
    return f" Did you mean {found!r}?" if found else ""


def read_tempo(text: str) -> tuple[Fraction | None, Fraction | None]:
    """`96` is (96, None), `75%` is (None, 3/4)."""
    found = re.fullmatch(r"\s*(\d{1,4}(?:\.\d{1,3})?)\s*(%?)\s*", text)
    if not found or not Fraction(found[1]):
        raise RequestError(
            f"--tempo {text}: write beats a minute or a percentage, such as 96 or 75%"
        )
    value = Fraction(found[1])
    if found[2]:
        if not MIN_PERCENT <= value <= MAX_PERCENT:
            raise RequestError(
                f"--tempo {text}: a percentage from {MIN_PERCENT}% to {MAX_PERCENT}%"
            )
        return None, value / 100
    return value, None


def read_key(text: str) -> Key:
    """`Eb`, `F# minor`, `Cm`."""
    try:
        return Key.parse(text)
    except ValueError:
        raise RequestError(f"--key {text}: write a key such as Eb, F# minor or Cm") from None


def read_bars(text: str) -> tuple[int, int]:
    """`9-16` or `9`: the first and the last bar number of the sheet."""
    found = re.fullmatch(r"\s*(\d{1,5})(?:\s*[-–]\s*(\d{1,5}))?\s*", text)
    if not found or (found[2] and int(found[2]) < int(found[1])):
        raise RequestError(f"--bars {text}: write the first and the last bar, such as 9-16")
    return int(found[1]), int(found[2] or found[1])


def read_length(text: str) -> float:
    """`10:00`, `1:30:00` or seconds."""
    found = re.fullmatch(r"\s*(?:(?:(\d+):)?(\d+):)?(\d+(?:\.\d+)?)\s*", text)
    seconds = 0.0
    if found:
        seconds = int(found[1] or 0) * 3600 + int(found[2] or 0) * 60 + float(found[3])
    if not 0 < seconds <= 4 * 3600:
        raise RequestError(
            f"--length {text}: write minutes and seconds, such as 10:00 (at most 4 hours)"
        )
    return seconds


def read_count_in(text: str) -> int:
    """Bars, or `off`."""
    if text.strip().lower() in ("off", "none", "no"):
        return 0
    if not re.fullmatch(r"\s*\d\s*", text):
        raise RequestError(f"--count-in {text}: write a number of bars up to 9, or off")
    return int(text)


def read_ending(text: str) -> Ending:
    """The words of the chart's `ending` setting."""
    words = " ".join(text.lower().split())
    fade = re.fullmatch(r"fade(?: (\d{1,2}))?", words)
    if fade and fade[1] != "0":
        return Ending(EndingKind.FADE, int(fade[1] or 4))
    for kind in EndingKind:
        if kind is not EndingKind.FADE and kind.value == words:
            return Ending(kind)
    names = ("ring", "short", "tag", "rit", "fade 4", "as written")
    raise RequestError(f"--ending {text}: choose one of {', '.join(names)}.{near(words, names)}")


def read_click(text: str) -> str:
    """One of `CLICKS`."""
    word = text.strip().lower()
    if word not in CLICKS:
        raise RequestError(
            f"--click {text}: choose one of {', '.join(CLICKS)}.{near(word, CLICKS)}"
        )
    return word


def read_roles(option: str, texts: Sequence[str]) -> tuple[str, ...]:
    """Players by role; `bass,drums` counts as two."""
    roles = [r.strip().lower() for text in texts for r in text.split(",") if r.strip()]
    for role in roles:
        if role not in PLAYERS:
            raise RequestError(
                f"{option} {role}: there is no such player; choose among {', '.join(ROLES)}.{near(role, ROLES)}"
            )
    return in_score_order(roles)


def read_number(option: str, value: float, low: float, high: float) -> float:
    """A number inside its limits."""
    if not low <= value <= high:
        raise RequestError(f"{option} {value:g}: choose a number from {low:g} to {high:g}")
    return value


def read_choice(option: str, text: str, choices: Sequence[str]) -> str:
    """One of a few words."""
    if text not in choices:
        raise RequestError(
            f"{option} {text}: choose one of {', '.join(choices)}.{near(text, choices)}"
        )
    return text


def options(
    *,
    tempo: str | None,
    key: str | None,
    transpose: int | None,
    style: str | None,
    choruses: int | None,
    length: str | None,
    section: Sequence[str],
    bars: str | None,
    ending: str | None,
    count_in: str | None,
    click: str,
    without: Sequence[str],
    only: Sequence[str],
    guide_tones: bool,
    plain: bool,
    stems: bool,
    stems_as: str | None,
    loop: bool,
    bits: int,
    seed: int,
    soundfont: Path | None,
    loudness: float,
    a4: float,
    for_: str | None,
    paper: str,
    signs: bool,
    grips: bool,
    force: bool,
) -> Options:
    """Every option of a track as typed, read; a pair that contradicts itself raises `RequestError`."""
    for one, other, given in (
        ("--key", "--transpose", key is not None and transpose is not None),
        ("--choruses", "--length", choruses is not None and length is not None),
        ("--section", "--bars", bool(section) and bars is not None),
        ("--only", "--without", bool(only) and bool(without)),
    ):
        if given:
            raise RequestError(
                f"{one} and {other} say the same thing in two ways; give one of them"
            )
    bpm, percent = read_tempo(tempo) if tempo else (None, None)
    return Options(
        tempo_bpm=bpm,
        tempo_percent=percent,
        key=read_key(key) if key else None,
        transpose=None
        if transpose is None
        else int(read_number("--transpose", transpose, -24, 24)),
        style=style,
        choruses=None if choruses is None else int(read_number("--choruses", choruses, 1, 200)),
        length_s=read_length(length) if length else None,
        sections=tuple(section),
        bars=read_bars(bars) if bars else None,
        ending=read_ending(ending) if ending else None,
        count_in=read_count_in(count_in) if count_in else None,
        click=read_click(click),
        without=read_roles("--without", without),
        only=read_roles("--only", only),
        guide_tones=guide_tones,
        plain=plain,
        seed=seed,
        soundfont=soundfont,
        loudness=read_number("--loudness", loudness, -40, -6),
        a4=read_number("--a4", a4, 415, 466),
        stems=stems,
        stems_as=read_choice("--stems-as", stems_as, ("wav", "flac", "ogg", "mp3", "m4a"))
        if stems_as
        else None,
        loop=loop,
        bits=int(read_choice("--bits", str(bits), ("16", "24"))),
        transposing=read_choice("--for", for_, TRANSPOSING) if for_ else None,
        paper=read_choice("--paper", paper, PAPERS),
        signs=signs,
        grips=grips,
        force=force,
    )
