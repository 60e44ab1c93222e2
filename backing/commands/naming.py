"""What was asked of a track, in a few words: for its title, and for the name of its file.

Without `-o` two tracks of one chart that are not the same music have two names, so that neither takes the other's
place; and a player in the car sees which one plays.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from backing.commands.options import Band, Options
from backing.ground.manners import OFF
from backing.output.asked import Sound
from backing.output.names import safe, worded
from backing.timeline.form import Form


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


Words = tuple[str, str]  # as a title says it, and as part of a name


def _asked(wish: Options) -> list[Words]:
    """Every change as words of a title and as part of a name."""
    found = [*_tempo_and_key(wish.form), *_part_of(wish.form), *_manner(wish.form)]
    return [*found, *_players(wish.band), *_sounds(wish.sound)]


def _words(title: str, name: str = "") -> Words:
    return title, name or worded(title, "x")


def _tempo_and_key(form: Form) -> Iterator[Words]:
    if form.tempo_percent is not None:
        percent = _figure(form.tempo_percent * 100)
        yield _words(f"{percent} %", percent)
    if form.tempo_bpm is not None:
        yield _words(f"{_figure(form.tempo_bpm)} bpm")
    if form.key is not None:
        name = form.key.short_name.replace("#", "sharp")
        yield _words(f"in {form.key.name.removesuffix(' major')}", name)
    if form.transpose:
        yield _words(f"{'up' if form.transpose > 0 else 'down'} {abs(form.transpose)}")
    if form.style is not None:
        yield _words(form.style.replace("\\", "/").rpartition("/")[2].removesuffix(".toml"))


def _part_of(form: Form) -> Iterator[Words]:
    """What is cut out of the tune, or how often it is played."""
    for name in form.sections:
        yield _words(f"section {name}", worded(name, "section"))
    if form.bars is not None:
        first, last = form.bars
        yield _words(f"bars {first}–{last}" if last > first else f"bar {first}")
    if form.choruses is not None:
        yield _words(f"{form.choruses} choruses" if form.choruses > 1 else "1 chorus")
    if form.length_s is not None:
        yield _words(f"{int(form.length_s // 60)}:{int(form.length_s % 60):02d}")


def _manner(form: Form) -> Iterator[Words]:
    """How it begins and ends, its colours, and how the guitar is tuned."""
    if form.ending is not None:
        yield _words(f"ending {form.ending.kind.value}")
    if form.intro is not None:
        yield _words(
            f"{form.intro} intro".replace("last 4", "last four")
            if form.intro != OFF
            else "no intro"
        )
    if form.count_in is not None:
        yield _words(f"count-in {form.count_in}" if form.count_in else "no count-in")
    if form.plan is not None:
        yield _words(f"{form.plan} plan")
    if form.plain:
        yield _words("plain")
    if form.capo is not None:
        yield _words(f"capo {form.capo}" if form.capo else "no capo")
    if form.chord_melody is not None:
        yield _words(
            f"chord melody {form.chord_melody}" if form.chord_melody else "no chord melody"
        )
    if form.tuned is not None:
        way = "down" if form.tuned < 0 else "up"
        yield _words(f"tuned {way} {abs(form.tuned)}" if form.tuned else "in standard tuning")


def _players(band: Band) -> Iterator[Words]:
    for role in band.only:
        yield _words(f"{role} only", role)
    for role in band.without:
        yield _words(f"without {role}")
    if band.click != "off":
        yield _words(f"click on {band.click}")
    if band.guide_tones:
        yield _words("guide tones")
    if band.straight:
        yield _words("on the grid", "straight")
    if band.seed != 1:
        yield _words(f"take {band.seed}")


def _sounds(sound: Sound) -> Iterator[Words]:
    for role, level_db in dict(sound.levels).items():
        yield _words(f"{role} {abs(level_db):g} dB {'softer' if level_db < 0 else 'louder'}")
    if sound.loop:
        yield _words("loop")
    if sound.a4 != 440.0:
        yield _words(f"A4 = {_figure(Fraction(str(sound.a4)))} Hz")


def _figure(number: Fraction) -> str:
    return f"{float(number):g}"
