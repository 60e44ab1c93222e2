"""The video file: the chart moving in time, with the sound that was rendered of the same performance.

Conventions: H.264 in yuv420p, 30 frames a second of equal length, and AAC, in one MP4 whose index stands in front. The
sound begins with the first frame: the encoder's priming (1024 samples, 23 ms) is left out by the file's edit list, and
there are no frames out of order, so that nothing is shown later than it is written.

The same chart, options and soundfont give the same bytes with the same ffmpeg: the number of threads is fixed, since x264
shares out its work by it, and neither file nor streams hold a date or the name of an encoder.
"""

from __future__ import annotations

import wave
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from backing.ground.errors import OutputError
from backing.output import memory
from backing.output.asked import BRIGHT, CONCERT, Paper, Picture
from backing.output.files import whole
from backing.output.sound.encode import BITRATE, described
from backing.output.sound.encoder import Encoder
from backing.output.sound.tags import THE_BAND, Label, tags_of
from backing.output.video.frames import frames
from backing.output.video.scenes import Scene, scenes
from backing.output.video.screens import BACKGROUNDS, FPS, SCREENS, Colours, Screen
from backing.output.video.stills import pictures

if TYPE_CHECKING:
    from backing.chart.ast import Chart
    from backing.performance.model import Performance

Progress = Callable[[float, str], None]
DRAWN = 0.25  # share of the work that is drawing stills
KEY_FRAMES = 5 * FPS  # a place that is jumped to is shown at once
# Letters on plain paper: no frame looks ahead for another scene, and what has not changed costs next to nothing.
_X264 = (
    f"-c:v libx264 -preset superfast -tune stillimage -crf 18 -bf 0 -g {KEY_FRAMES} -threads 2 "
    "-x264-params rc-lookahead=0:mbtree=0:scenecut=0:lookahead-threads=1 "
    "-bsf:v filter_units=remove_types=6 "  # the note of who encoded it
    "-vf setparams=range=tv:colorspace=bt709:color_primaries=bt709:color_trc=bt709"
)


def silent(share: float, words: str) -> None:
    """No progress is shown."""


def write(
    performance: Performance,
    chart: Chart,
    path: Path,
    *,
    sound: Path,
    style: str = "",
    tempo: tuple[Fraction, Fraction] | None = None,
    picture: Picture = BRIGHT,
    paper: Paper = CONCERT,
    label: Label = THE_BAND,
    soundfont: str = "",
    force: bool = False,
    progress: Progress = silent,
) -> None:
    """Write the video; `sound` is the performance's own as a WAV file, as long as the video becomes.

    Raises `OutputError`, `AudioUnavailable`.
    """
    screen, colours = asked(picture)
    memory.enough()
    with whole(path, force=force) as part:
        seen = scenes(performance, chart, screen, style=style, tempo=tempo, paper=paper)
        length = length_s(sound)
        tags = part.with_name("tags")
        said = tags_of(performance, label, soundfont)
        tags.write_text(described(said, round(1000 * length), ".m4a"), encoding="utf-8")
        _encode(part, seen, screen, colours, sound, tags, length, progress)
    progress(1.0, "done")


def asked(picture: Picture) -> tuple[Screen, Colours]:
    """The screen and colours of a picture. Raises `OutputError`."""
    if picture.screen not in SCREENS:
        raise OutputError(f"{picture.screen!r} is no screen; there are {', '.join(SCREENS)}")
    if picture.background not in BACKGROUNDS:
        raise OutputError(
            f"{picture.background!r} is no background; there are {', '.join(BACKGROUNDS)}"
        )
    return SCREENS[picture.screen], BACKGROUNDS[picture.background]


def length_s(sound: Path) -> float:
    """The length of a WAV file."""
    with wave.open(str(sound), "rb") as file:
        return file.getnframes() / file.getframerate()


def _encode(
    part: Path,
    seen: list[Scene],
    screen: Screen,
    colours: Colours,
    sound: Path,
    tags: Path,
    length: float,
    progress: Progress,
) -> None:
    """Draw every frame into the encoder."""
    stills = list(dict.fromkeys(scene.still for scene in seen))
    order = {still: n for n, still in enumerate(stills)}
    drawn = pictures(
        stills, screen, colours, part.parent, lambda share: progress(DRAWN * share, "drawing")
    )
    wide, high = screen.pixels
    count = -int(-length * FPS // 1)
    arguments = [
        *("-f", "rawvideo", "-pix_fmt", "yuv420p", "-video_size", f"{wide}x{high}"),
        *("-framerate", str(FPS), "-color_range", "tv", "-colorspace", "bt709", "-i", "pipe:0"),
        *(
            "-i",
            str(sound),
            "-f",
            "ffmetadata",
            "-i",
            str(tags),
            "-map_metadata",
            "2",
            "-map_chapters",
            "2",
        ),
        *("-metadata:s:v", "encoder=", "-metadata:s:a", "encoder="),
        *("-map", "0:v", "-map", "1:a", *_X264.split()),
        *("-c:a", "aac", "-b:a", BITRATE, "-fflags", "+bitexact"),
        *("-flags:v", "+bitexact", "-flags:a", "+bitexact", "-movflags", "+faststart", "-f", "mp4"),
    ]
    encoder = Encoder(part, arguments)
    try:
        for n, frame in enumerate(frames(seen, order, drawn, screen, count)):
            if n % FPS == 0:
                progress(DRAWN + (1 - DRAWN) * n / count, "writing")
            encoder.write(frame)
    except BaseException:
        encoder.abandon()
        raise
    encoder.close()
