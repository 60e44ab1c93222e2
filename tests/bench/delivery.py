"""Everything for a lesson against one pass of the plain synthesiser, same MIDI and soundfont.

    python -m tests.bench.delivery

(a) mix and five stems as WAV against `fluidsynth -F` on the mix; (b) the same and the mix as MP3 against
`fluidsynth -F`, then ffmpeg to the same MP3; (c) one MP3 of nine tempos against nine such runs.
"""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from backing.out.audio import write_audio
from backing.out.encode import BITRATE, encoder_path
from backing.out.midi import write
from backing.out.soundfont import find
from backing.performance import Performance
from tests.bench.common import in_turn, plain, track

LIMITS = {"a": 1.0, "b": 0.8, "c": 0.75}
LADDER = tuple(range(60, 101, 5))


def to_mp3(wav: Path, mp3: Path) -> None:
    command = [encoder_path(), "-v", "error", "-y", "-i", str(wav), "-b:a", BITRATE, str(mp3)]
    subprocess.run(command, check=True)


def ladder(performance: Performance) -> list[Performance]:
    """The track at nine tempos, as nine performances."""
    return [track(3.0 * 100 / percent) for percent in LADDER]


def joined(parts: Sequence[Performance]) -> Performance:
    """Performances one after the other, as one track to render."""
    at_s, at_q = 0.0, 0.0
    players = {p.role: list[object]() for p in parts[0].players}
    for part in parts:
        for player in part.players:
            players[player.role] += [
                replace(
                    n,
                    onset_s=n.onset_s + at_s,
                    release_s=n.release_s + at_s,
                    start_q=n.start_q + at_q,
                    end_q=n.end_q + at_q,
                )
                for n in player.notes
            ]
        at_s += part.duration_s
        at_q += float(part.tempo.zero_q) + 10_000
    first = parts[0]
    return replace(
        first,
        players=tuple(replace(p, notes=tuple(players[p.role])) for p in first.players),
        duration_s=at_s,
        markers=(),
    )


def main() -> int:
    performance = track(3.0)
    soundfont = find()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        midi = folder / "a.mid"
        write(performance, midi)
        nine = ladder(performance)
        rungs = []
        for i, rung in enumerate(nine):
            rungs.append(folder / f"{i}.mid")
            write(rung, rungs[-1])
        long = joined(nine)

        def plain_and_mp3(file: Path) -> None:
            plain(file, soundfont, folder / "plain.wav")
            to_mp3(folder / "plain.wav", folder / "plain.mp3")

        def ours(*endings: str, stems: bool = False, which: Performance = performance) -> None:
            write_audio(which, [folder / f"a{e}" for e in endings], stems=stems, force=True)

        best = in_turn(
            (
                ("plain", lambda: plain(midi, soundfont, folder / "plain.wav")),
                ("a", lambda: ours(".wav", stems=True)),
                ("plain to mp3", lambda: plain_and_mp3(midi)),
                ("b", lambda: ours(".wav", ".mp3", stems=True)),
            )
        )
        best |= in_turn(
            (
                ("plain nine times", lambda: [plain_and_mp3(r) for r in rungs] and None),
                ("c", lambda: ours(".mp3", which=long)),
            ),
            times=1,
        )
    over = 0
    for case, against in (("a", "plain"), ("b", "plain to mp3"), ("c", "plain nine times")):
        ratio = best[case] / best[against]
        over += ratio > LIMITS[case]
        print(
            f"({case}) {best[case]:.2f} s against {best[against]:.2f} s: {ratio:.2f} (at most {LIMITS[case]})"
        )
    return over


if __name__ == "__main__":
    raise SystemExit(main())
