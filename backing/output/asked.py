"""What may be asked of the files. It is loaded with the command line, so it imports little.

Whoever writes sound or a sheet takes `Sound` or `Paper` whole, and a fingerprint holds them whole: a new field reaches
everybody.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from backing.ground.levels import Levels


class Sound(NamedTuple):
    """How a track sounds. `loudness` in LUFS, `a4` in hertz, `bits` a sample in WAV and FLAC.

    `levels` are players with the dB that they are louder or softer than in the style, whatever the chart says.
    They are in the voices of a performance already. `loop` makes a file whose end runs into its start. Without a `soundfont` the usual one plays.
    """

    soundfont: Path | None = None
    loudness: float = -16.0
    a4: float = 440.0
    bits: int = 16
    loop: bool = False
    levels: Levels = ()


class Paper(NamedTuple):
    """How a chart is shown. `signs` writes △ – ° ø; `grips` draws diagrams, at the `foot` for every chord used or
    `above` the bars, about the fret `near` where one is asked for.

    `write_as` is how chords are written, None as the chart does.
    `parts` are players whose parts are written in place of the sheet (`all` for the score), `tab` (`on`, `off`, `only`)
    those of guitar and bass.
    `transposing` is the instrument that reads (`Bb`, `Eb`, `F`), None for concert pitch; `size` is `a4` or `letter`.
    """

    transposing: str | None = None
    size: str = "a4"
    signs: bool = False
    grips: str | None = None
    write_as: str | None = None
    near: int | None = None
    parts: tuple[str, ...] = ()
    tab: str = "on"


SCREENS = ("1080p", "720p", "upright")
BACKGROUNDS = ("white", "black", "green")


class Picture(NamedTuple):
    """How a video looks: for which of `SCREENS`, on which of `BACKGROUNDS`."""

    screen: str = SCREENS[0]
    background: str = BACKGROUNDS[0]


AS_USUAL = Sound()
CONCERT = Paper()
BRIGHT = Picture()
