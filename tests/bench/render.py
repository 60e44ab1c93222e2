"""Rendering a three-minute track against `fluidsynth -F` on the same MIDI file and soundfont.

    python -m tests.bench.render

The mix leaves at its final loudness, limited and dithered; `fluidsynth -F` writes what its synthesiser gives.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from backing.output.midi import write
from backing.output.sound.audio import write_audio
from backing.output.sound.soundfont import find
from tests.bench.common import in_turn, plain, track

LIMIT = 1.1


def main() -> float:
    performance = track(3.0)
    soundfont = find()
    with tempfile.TemporaryDirectory() as folder:
        midi, wav = Path(folder) / "a.mid", Path(folder) / "a.wav"
        write(performance, midi)
        best = in_turn(
            (
                ("plain", lambda: plain(midi, soundfont, Path(folder) / "plain.wav")),
                ("ours", lambda: write_audio(performance, [wav], force=True) and None),
            ),
            times=5,
        )
    ratio = best["ours"].wall_s / best["plain"].wall_s
    notes = sum(len(p.notes) for p in performance.players)
    print(f"{performance.duration_s:.0f} s, {len(performance.players)} players, {notes} notes")
    print(f"fluidsynth -F  {best['plain']}")
    print(f"this program   {best['ours']}")
    print(f"ratio          {ratio:.2f} (at most {LIMIT})")
    return ratio


if __name__ == "__main__":
    raise SystemExit(main() > LIMIT)
