"""Hand-made briefs: a row of chords as one section of a style, without parser or arranger."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from backing.band.model import Kind, Note, Why
from backing.band.players.common import BarPlan, Brief, Change, Phase, Stroke, Zone, ZoneKind
from backing.band.tensions import agreed
from backing.ground.dice import Place
from backing.ground.instruments import INSTRUMENTS
from backing.ground.pitch import Key, NoteName
from backing.ground.timebase import STRAIGHT, SWING, Meter, TempoStep
from backing.harmony.reader import read as read_symbol
from backing.harmony.symbol import Chord
from backing.styles.cells import read
from backing.styles.model import Part, Pattern, Style, Value, Where
from backing.timeline.model import ChordSpan, MelodyNote, PlayedBar, SectionPass, Timeline

FOUR = Meter.of(4, 4)
UNASKED = Why(Kind.PATTERN, "")  # of a note whose reason does not matter


def pattern(
    text: str,
    name: str = "test",
    *,
    meter: Meter = FOUR,
    kind: str = "chord",
    where: Where = Where.TIME,
    level: str = "mf",
    bass: str | None = None,
) -> Pattern:
    """A pattern from its text."""
    lines = {"chord": read(text, meter, kind)}
    if bass is not None:
        lines["bass"] = read(bass, meter, "bass")
    return Pattern(name, meter, len(lines["chord"]), level, where, 1.0, lines)


def style(part: Part, *, repeats: bool = False, swing: bool = True) -> Style:
    """A style with one player."""
    return Style(
        "test", "", "", (FOUR,), 60, 120, 240, SWING if swing else STRAIGHT, Fraction(1, 2), True,
        repeats, None, (part,),
    )  # fmt: skip


def part(
    role: str = "keys",
    instrument: str = "acoustic piano",
    patterns: Sequence[Pattern] = (),
    plays: str = "pattern",
    **settings: Value,
) -> Part:
    """A player."""
    sound = INSTRUMENTS[instrument]
    return Part(
        role, sound, dict.fromkeys(("p", "mf", "f"), plays), settings, tuple(patterns),
        low=sound.low, high=sound.high,
    )  # fmt: skip


def brief(
    player: Part,
    chords: Sequence[tuple[Chord | None, int | Fraction] | Chord | None],
    *,
    meter: Meter = FOUR,
    pushes: Mapping[int, Fraction] | None = None,
    zones: Sequence[
        tuple[ZoneKind, Fraction | int, Sequence[tuple[Fraction | int, Fraction | int]]]
    ] = (),
    level: float = 3.0,
    busy: float = 0.5,
    heard: Mapping[str, tuple[Note, ...]] | None = None,
    melody: Sequence[MelodyNote] = (),
    ahead: Chord | None = None,
    seed: int = 1,
    capo: int = 0,
    tuned: int = 0,
    colour: bool = False,
    repeats: bool = False,
) -> Brief:
    """One section: chords with lengths in quarters (a bar where none is given).

    `zones` are (kind, end, strokes); the rest of the section is played in time.
    """
    spans: list[ChordSpan] = []
    at = Fraction(0)
    for item in chords:
        chord, length = item if isinstance(item, tuple) else (item, meter.length_q)
        left = Fraction(length)
        first = True
        while left:  # one span a bar
            step = min(left, meter.length_q - at % meter.length_q)
            again = not first or bool(spans and chord is not None and spans[-1].chord == chord)
            push = (pushes or {}).get(len(spans), Fraction(0))
            text = chord.symbol if chord else "N.C."
            spans.append(
                ChordSpan(
                    at,
                    at + step,
                    chord,
                    text,
                    text,
                    int(at // meter.length_q) + 1,
                    push,
                    again=again,
                )
            )
            at, left, first = at + step, left - step, False
    count = int(at / meter.length_q)
    assert count * meter.length_q == at, "chords must fill whole bars"
    bars = tuple(
        PlayedBar(
            i + 1, i + 1, "A", 0, 1, 1, 1, meter, i * meter.length_q, (i + 1) * meter.length_q,
            Key(NoteName("C")),
        )
        for i in range(count)
    )  # fmt: skip
    changes = tuple(
        Change(
            i,
            s.sounds_q,
            spans[i + 1].sounds_q if i + 1 < len(spans) else at,
            s,
        )
        for i, s in enumerate(spans)
    )
    after = None
    if ahead is not None:
        span = ChordSpan(at, at + 4, ahead, ahead.symbol, ahead.symbol, count + 1)
        after = Change(len(spans), at, at + 4, span)
    made, start = [], Fraction(0)
    for kind, end, struck in zones:
        hits = tuple(Stroke(Fraction(a), Fraction(b), Kind.HIT) for a, b in struck)
        made.append(Zone(start, Fraction(end), kind, hits))
        start = Fraction(end)
    if start < at:
        made.append(Zone(start, at, ZoneKind.TIME))
    section = SectionPass("A", 1, 1, "chorus", 1, count)
    timeline = Timeline(
        "Test", "", Key(NoteName("C")), "test", bars, tuple(spans), (section,),
        (TempoStep(Fraction(0), 500_000),), capo=capo, tuned=tuned,
    )  # fmt: skip
    plans = tuple(
        BarPlan(level, busy, i % 4, i % 4 == 3, opening=i == 0, phase=Phase(i % 4))
        for i in range(count)
    )
    own = style(player, repeats=repeats)
    return Brief(
        timeline, section, own, player, bars, plans, changes, after,
        tuple(made), Place((seed, player.role, "A", 1)), tuple(melody), (), heard or {}, colour,
        agreed(own, bars, changes, after, melody) if colour else {},
    )  # fmt: skip


def chord(symbol: str) -> Chord:
    """A chord from its symbol."""
    found = read_symbol(symbol)
    assert found is not None
    return found
