"""Everything for a lesson against one pass of the plain synthesiser, same MIDI and soundfont.

    python -m tests.bench.delivery [RUNS] [SOUNDFONT]

(a) mix and five stems as WAV against `fluidsynth -F` on the mix; (b) the same and the mix as MP3 against
`fluidsynth -F`, then ffmpeg to the same MP3, and the MP3 alone; (c) one MP3 of nine tempos of a minute against nine such
runs. Seconds on the clock count, which two processors share; where others keep the machine busy, the ratio of processor
seconds says more. Each case is run RUNS times (3), (c) once; about three minutes on two quiet processors. With a
SOUNDFONT our side plays that one, and the plain side still the default one.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.practice import Practice, practised
from backing.commands.preparing import prepare
from backing.output.asked import Sound
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


def rungs(minutes: float = 1.0, chart: str = "blues.txt") -> tuple[list[Performance], list[str]]:
    """A track at nine tempos, as nine passes with their labels."""
    path = DEMO / chart
    wish = Options().changed(length_s=60.0 * minutes)
    prepared = prepare(parse(path.read_text("utf-8"), str(path)), wish)
    return practised(prepared, wish, Practice(ladder="60:100:5", passes=1))


def main(times: int = 3, font: str = "default") -> int:
    performance = track(3.0)
    soundfont = find()
    sound = Sound(soundfont=Path(font))
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
            paths = [folder / f"a{e}" for e in endings]
            write_audio(which, paths, sound, stems=stems, force=True)

        spent = in_turn(
            (
                ("plain", lambda: plain(midi, soundfont, folder / "plain.wav")),
                ("wav", lambda: ours(".wav")),
                ("a", lambda: ours(".wav", stems=True)),
                ("plain to mp3", lambda: plain_and_mp3(midi)),
                ("b", lambda: ours(".wav", ".mp3", stems=True)),
                ("mp3", lambda: ours(".mp3")),
            ),
            times=times,
        )
        spent |= in_turn(
            (
                ("plain nine times", lambda: [plain_and_mp3(file) for file in files] and None),
                ("c", lambda: ours(".mp3", which=long)),
            ),
            times=1,
        )
    over = 0
    for case, against, most in LIMITS:
        ratio = spent[case].wall_s / spent[against].wall_s
        of_processors = spent[case].cpu_s / spent[against].cpu_s
        over += ratio > most
        print(
            f"{case:4}{spent[case]} against {spent[against]} {against}: {ratio:.2f} (at most {most}), "
            f"of processors {of_processors:.2f}"
        )
    return over


if __name__ == "__main__":
    given = sys.argv[1:]
    raise SystemExit(main(*(int(n) for n in given[:1]), *given[1:2]))
