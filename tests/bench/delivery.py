"""Everything for a lesson against one pass of the plain synthesiser, same MIDI and soundfont.

    python -m tests.bench.delivery

(a) mix and five stems as WAV against `fluidsynth -F` on the mix; (b) the same and the mix as MP3 against
`fluidsynth -F`, then ffmpeg to the same MP3, and the MP3 alone; (c) one MP3 of nine tempos against nine such runs. Seconds on
the clock count; the seconds of all processors are shown beside them.
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.practice import Practice, practised
from backing.commands.preparing import prepare
from backing.output.midi import write
from backing.output.sound.audio import write_audio
from backing.output.sound.encode import BITRATE
from backing.output.sound.encoder import encoder_path
from backing.output.sound.soundfont import find
from backing.performance.model import Performance
from backing.performance.session import joined
from tests.bench.common import DEMO, in_turn, plain, track

LIMITS = (
    ("wav", "plain", 1.1),
    ("a", "plain", 1.0),
    ("b", "plain to mp3", 0.75),
    ("mp3", "plain to mp3", 0.6),
    ("c", "plain nine times", 0.75),
)


def to_mp3(wav: Path, mp3: Path) -> None:
    command = [encoder_path(), "-v", "error", "-y", "-i", str(wav), "-b:a", BITRATE, str(mp3)]
    subprocess.run(command, check=True)


def rungs(minutes: float = 3.0, chart: str = "blues.txt") -> tuple[list[Performance], list[str]]:
    """A track at nine tempos, as nine passes with their labels."""
    path = DEMO / chart
    wish = Options().changed(length_s=60.0 * minutes)
    prepared = prepare(parse(path.read_text("utf-8"), str(path)), wish)
    return practised(prepared, wish, Practice(ladder="60:100:5", passes=1))


def main() -> int:
    performance = track(3.0)
    soundfont = find()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        midi = folder / "a.mid"
        write(performance, midi)
        nine, labels = rungs()
        files = []
        for i, rung in enumerate(nine):
            files.append(folder / f"{i}.mid")
            write(rung, files[-1])
        long = joined(nine, labels)

        def plain_and_mp3(file: Path) -> None:
            plain(file, soundfont, folder / "plain.wav")
            to_mp3(folder / "plain.wav", folder / "plain.mp3")

        def ours(*endings: str, stems: bool = False, which: Performance = performance) -> None:
            write_audio(which, [folder / f"a{e}" for e in endings], stems=stems, force=True)

        spent = in_turn(
            (
                ("plain", lambda: plain(midi, soundfont, folder / "plain.wav")),
                ("wav", lambda: ours(".wav")),
                ("a", lambda: ours(".wav", stems=True)),
                ("plain to mp3", lambda: plain_and_mp3(midi)),
                ("b", lambda: ours(".wav", ".mp3", stems=True)),
                ("mp3", lambda: ours(".mp3")),
            ),
            times=5,
        )
        spent |= in_turn(
            (
                ("plain nine times", lambda: [plain_and_mp3(file) for file in files] and None),
                ("c", lambda: ours(".mp3", which=long)),
            ),
            times=2,
        )
    over = 0
    for case, against, most in LIMITS:
        ratio = spent[case].wall_s / spent[against].wall_s
        over += ratio > most
        print(
            f"{case:4}{spent[case]} against {spent[against]} {against}: {ratio:.2f} (at most {most})"
        )
    return over


if __name__ == "__main__":
    raise SystemExit(main())
