"""What was asked of a track, in a few words: for its title, and for the name of its file.

Without `-o` two tracks of one chart that are not the same music have two names, so that neither takes the other's
place; and a player in the car sees which one plays.
"""

from __future__ import annotations

from fractions import Fraction

from backing.commands.options import Options
from backing.output.names import safe, worded


def changes(wish: Options) -> list[str]:
    """What makes the music another than the chart's, as a title says it.

    >>> from backing.ground.pitch import Key
    >>> changes(Options().changed(tempo_percent=Fraction(3, 5), key=Key.parse("Eb"), bars=(1, 4)))
    ['60 %', 'in Eb', 'bars 1–4']
    """
    return [title for title, _ in _asked(wish)]


def file_stem(stem: str, wish: Options) -> str:
    """The name of a file without its ending where none is given.

    >>> from backing.ground.pitch import Key
    >>> file_stem("tune", Options().changed(tempo_percent=Fraction(3, 5), key=Key.parse("Eb"), bars=(1, 4)))
    'tune-60-Eb-bars-1-4'
    """
    return safe("-".join([stem, *(name for _, name in _asked(wish))]))


def _asked(wish: Options) -> list[tuple[str, str]]:
    """Every change as words of a title and as part of a name."""
    form, band, sound = wish.form, wish.band, wish.sound
    found: list[tuple[str, str]] = []

    def add(title: str, name: str = "") -> None:
        found.append((title, name or worded(title, "x")))

    if form.tempo_percent is not None:
        add(f"{_figure(form.tempo_percent * 100)} %", _figure(form.tempo_percent * 100))
    if form.tempo_bpm is not None:
        add(f"{_figure(form.tempo_bpm)} bpm")
    if form.key is not None:
        add(f"in {form.key.name.removesuffix(' major')}", form.key.short_name.replace("#", "sharp"))
    if form.transpose:
        add(f"{'up' if form.transpose > 0 else 'down'} {abs(form.transpose)}")
    if form.style is not None:
        style = form.style.replace("\\", "/").rpartition("/")[2].removesuffix(".toml")
        add(style)
    for name in form.sections:
        add(f"section {name}", worded(name, "section"))
    if form.bars is not None:
        first, last = form.bars
        add(f"bars {first}–{last}" if last > first else f"bar {first}")
    if form.choruses is not None:
        add(f"{form.choruses} choruses" if form.choruses > 1 else "1 chorus")
    if form.length_s is not None:
        add(f"{int(form.length_s // 60)}:{int(form.length_s % 60):02d}")
    if form.ending is not None:
        add(f"ending {form.ending.kind.value}")
    if form.count_in is not None:
        add(f"count-in {form.count_in}" if form.count_in else "no count-in")
    if form.plain:
        add("plain")
    if form.capo is not None:
        add(f"capo {form.capo}" if form.capo else "no capo")
    if form.tuned is not None:
        way = "down" if form.tuned < 0 else "up"
        add(f"tuned {way} {abs(form.tuned)}" if form.tuned else "in standard tuning")
    for role in band.only:
        add(f"{role} only", role)
    for role in band.without:
        add(f"without {role}")
    if band.click != "off":
        add(f"click on {band.click}")
    if band.guide_tones:
        add("guide tones")
    if band.straight:
        add("on the grid", "straight")
    if band.seed != 1:
        add(f"take {band.seed}")
    for role, level_db in dict(sound.levels).items():
        add(f"{role} {abs(level_db):g} dB {'softer' if level_db < 0 else 'louder'}")
    if sound.loop:
        add("loop")
    if sound.a4 != 440.0:
        add(f"A4 = {_figure(Fraction(str(sound.a4)))} Hz")
    return found


def _figure(number: Fraction) -> str:
    return f"{float(number):g}"
