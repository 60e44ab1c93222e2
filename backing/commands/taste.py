"""A taste of some styles in one file: eight bars each, one after the other, faded.

*Conventions*: each clip ends with the bar line after its last bar and fades out over its ring; a short silence stands
between clips. Clips are whole and small, so they are cut, faded and joined in memory.

*Sources*: the progression (two five one, then round the cycle home) is common practice.
"""

from __future__ import annotations

import tempfile
import warnings
import wave
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from backing.commands.options import Options
from backing.commands.planned import SOUND
from backing.commands.preparing import band, prepare
from backing.commands.progress import Progress, part, silent
from backing.ground.errors import RequestError
from backing.output.files import MARK

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from pydub import AudioSegment

CHORDS = "| Dm7 | G7 | Cmaj7 | A7 | Dm7 | G7 | C6 | C6 |"
BARS = 8
RING_MS, FADE_MS, GAP_MS = 1500, 1200, 700
RATE = 44_100


class Joined:
    """Clips as a sound that an encoder reads: samples between -1 and 1 by their place, in frames of 44.1 kHz."""

    def __init__(self, clips: AudioSegment) -> None:
        import numpy as np

        whole = np.array(clips.get_array_of_samples(), np.float32).reshape(-1, 2)
        self._samples = whole / np.float32(2**15)

    @property
    def frames(self) -> int:
        return len(self._samples)

    def sound(self, start: int, end: int) -> NDArray[np.float32]:
        return self._samples[start:end]


def taste(names: Sequence[str], path: Path, wish: Options, progress: Progress = silent) -> Path:
    """Write eight bars of each style into one sound file, a chapter each.

    Raises `RequestError` for an unknown style or ending, `OutputError`, `AudioUnavailable`.
    """
    from backing.output.files import whole
    from backing.output.sound.encode import write
    from backing.output.sound.tags import Tags
    from backing.styles.find import find

    if path.suffix.lower() not in SOUND:
        raise RequestError(f"-o {path}: end the name in one of {' '.join(SOUND)}")
    if not names:
        raise RequestError(
            f"name the styles to hear, such as  backing styles 'bossa nova' samba -o {path}"
        )
    for name in names:
        find(name)
    segment = segments()
    with whole(path, force=wish.files.force) as place:
        joined = segment.empty()
        chapters: list[tuple[int, str]] = []
        for number, name in enumerate(names):
            if number:
                joined += segment.silent(GAP_MS, RATE)
            chapters.append((len(joined), name))
            joined += clip(name, wish, part(progress, number, len(names)))
        title = f"A taste of {', '.join(names)}"
        tags = Tags(title, "", 0, "C", f"{MARK}; seed {wish.band.seed}", tuple(chapters))
        write(place, path.suffix.lower(), Joined(joined), tags, bits=16)
    return path


def clip(name: str, wish: Options, progress: Progress = silent) -> AudioSegment:
    """Eight bars of a style in its own meter at its usual tempo, faded out. Raises `RequestError`, `StyleError`."""
    from backing.chart.parse import parse
    from backing.output.sound.audio import write_audio

    prepared = prepare(parse(text_of(name), name), wish.changed(style=name))
    performance = band(prepared, wish)
    end_s = performance.tempo.seconds(prepared.timeline.bars[BARS - 1].end_q)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "clip.wav"
        write_audio(performance, [path], wish.sound, progress=progress)
        with wave.open(str(path)) as file:
            data = file.readframes(file.getnframes())
    played = segments()(data=data, sample_width=2, frame_rate=RATE, channels=2)
    return played[: round(end_s * 1000) + RING_MS].fade_out(FADE_MS)


def text_of(name: str) -> str:
    """The progression as a chart in a style's own meter. Raises `RequestError`, `StyleError`."""
    from backing.styles.find import find

    meter = find(name).meters[0]
    return f"title: {name}\nkey: C major\nmeter: {meter}\ncount-in: off\n\n{CHORDS}\n"


def play_tastes(
    names: Sequence[str], chart: Path | None, device: str | None, tell: Callable[[str], None]
) -> None:
    """Play eight bars of each style at once, of the usual progression or of a chart. Raises `BackingError`."""
    from backing.chart.ast import Ending, EndingKind
    from backing.chart.parse import parse
    from backing.commands.play import How, play_chart
    from backing.commands.reading import read_chart
    from backing.styles.find import find

    if not names:
        raise RequestError(
            "name the styles to hear, such as  backing styles 'bossa nova' samba --play"
        )
    for name in names:
        find(name)
    for name in names:
        tell(name)
        played = read_chart(chart) if chart else parse(text_of(name), name)
        wish = Options().changed(style=name, ending=Ending(EndingKind.AS_WRITTEN), count_in=0)
        if chart:
            last = max((bar.number for bar in prepare(played, wish).timeline.bars), default=1)
            wish = wish.changed(bars=(1, min(BARS, last)))
        play_chart(played, wish, How(device=device))


def segments() -> type[AudioSegment]:
    """pydub's class. Loading it warns of `audioop` (Python 3.11 and 3.12) and of programs that are not needed here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pydub import AudioSegment
    return AudioSegment  # type: ignore[no-any-return]  # pydub has no types
