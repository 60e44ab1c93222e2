"""Loudness and true peak of every style, by two meters that know nothing of each other.

    python -m tests.bench.loudness [STYLE …]

Each style plays the first twenty seconds of two demo charts as a 16-bit WAV. ffmpeg's ebur128 and pyloudnorm measure
the integrated loudness (BS.1770-4), ffmpeg the true peak (four times oversampled).
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import pyloudnorm
import soundfile

from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.preparing import band, prepare
from backing.output.sound.audio import write_audio
from backing.performance.model import RING_S, Performance
from backing.styles.find import names
from tests.bench.common import DEMO
from tests.metering import measure

CHARTS = ("pop.txt", "waltz.txt")
SECONDS = 20.0
WANTED_LUFS, OFF_LU, MOST_DBTP, APART_LU = -16.0, 0.5, -1.0, 0.2


def beginning(performance: Performance, seconds: float) -> Performance:
    """What is struck in the first seconds, with the ring of it."""
    players = tuple(
        p._replace(
            notes=tuple(
                n._replace(release_s=min(n.release_s, seconds))
                for n in p.notes
                if n.onset_s < seconds
            ),
            voices=tuple(v for v in p.voices if v.at_s < seconds),
        )
        for p in performance.players
    )
    return performance._replace(players=players, duration_s=seconds + RING_S, fade_s=None)


def main(asked: list[str]) -> int:
    over = 0
    table: list[tuple[float, float, float]] = []
    with tempfile.TemporaryDirectory() as folder:
        wav = Path(folder) / "a.wav"
        for style in asked or names():
            for chart in CHARTS:
                path = DEMO / chart
                wish = Options().changed(style=style)
                prepared = prepare(parse(path.read_text("utf-8"), str(path)), wish)
                write_audio(beginning(band(prepared, wish), SECONDS), [wav], force=True)
                ours = measure(wav)
                sound, rate = soundfile.read(wav)
                other = float(pyloudnorm.Meter(rate).integrated_loudness(sound))
                assert ours.peak_dbtp is not None
                table.append((ours.lufs, ours.peak_dbtp, abs(ours.lufs - other)))
                wrong = (
                    abs(ours.lufs - WANTED_LUFS) > OFF_LU
                    or ours.peak_dbtp > MOST_DBTP
                    or abs(ours.lufs - other) > APART_LU
                )
                over += wrong
                print(
                    f"{style:24}{chart:12}{ours.lufs:7.1f} LUFS {other:7.2f} {ours.peak_dbtp:6.1f} dBTP"
                    f"{'  !' if wrong else ''}",
                    flush=True,
                )
    lufs, peaks, apart = zip(*table, strict=True)
    print(
        f"{min(lufs):.1f} to {max(lufs):.1f} LUFS, at most {max(peaks):.1f} dBTP, meters {max(apart):.2f} LU apart; "
        f"{over} outside"
    )
    return over


if __name__ == "__main__":
    raise SystemExit(min(main(sys.argv[1:]), 1))
