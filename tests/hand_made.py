"""Performances put together by hand, so that what leaves the program can be tested without a band."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from backing.band.model import Arrangement, PartStart, Player
from backing.ground.instruments import INSTRUMENTS
from backing.ground.pitch import Key, NoteName, degrees
from backing.ground.roles import in_score_order
from backing.ground.timebase import STRAIGHT, Meter, TempoMap, TempoStep
from backing.harmony.symbol import Chord
from backing.performance.model import (
    RING_S,
    Marker,
    Performance,
    PerformedNote,
    PerformedPlayer,
    Voice,
)
from backing.styles.model import Part, Style
from backing.timeline.model import ChordSpan, PlayedBar, SectionPass, Timeline

Strokes = Sequence[
    tuple[float, float, int, int]
]  # quarters from the first bar, length, pitch, velocity

FAMILY = {"": "major", "maj7": "major", "m7": "minor", "7": "dominant"}
FORMULA = {"": "1 3 5", "maj7": "1 3 5 7", "m7": "1 b3 5 b7", "7": "1 3 5 b7"}
BAND = {
    "guitar": ("steel guitar", -4.0, -0.35, 0.3),
    "keys": ("acoustic piano", -3.0, 0.3, 0.3),
    "bass": ("acoustic bass", 0.0, 0.0, 0.05),
    "drums": ("drum kit", -2.0, 0.0, 0.2),
    "percussion": ("percussion", -6.0, 0.4, 0.3),
    "click": ("click", -6.0, 0.0, 0.0),
}


def chord(text: str) -> Chord | None:
    """`Bbmaj7`, `Dm7/G`, or None for `N.C.`."""
    if text == "N.C.":
        return None
    symbol, _, bass = text.partition("/")
    root = symbol[:2] if symbol[1:2] in ("b", "#") else symbol[:1]
    quality = symbol[len(root) :]
    formula = degrees(FORMULA[quality])
    return Chord(
        NoteName.parse(root), quality, FAMILY[quality], formula, formula,
        bass=NoteName.parse(bass) if bass else None, written=text,
    )  # fmt: skip


def performance(
    bars: Sequence[str] = ("Cmaj7", "Am7", "Dm7 G7", "Cmaj7"),
    notes: Mapping[str, Strokes] | None = None,
    *,
    meter: str | Sequence[str] = "4/4",
    qpm: Fraction | Sequence[tuple[Fraction | int, int]] = Fraction(120),
    count_in_bars: int = 1,
    key: str = "C major",
    keys: Mapping[int, str] | None = None,
    title: str = "Hand Made",
    voices: Mapping[str, Sequence[tuple[float, str]]] | None = None,
    pickup_q: Fraction | None = None,
    sections: Sequence[tuple[str, int]] = (("A", 1),),
    silent: frozenset[int] = frozenset(),
    fade_s: float | None = None,
    duration_s: float | None = None,
    mix: Mapping[str, tuple[float, float, float]] | None = None,
) -> Performance:
    """A short tune. `bars` hold their chords with spaces between, sharing the bar equally.

    `meter` is one for all bars or one a bar; `qpm` a tempo or steps (quarter, microseconds); `keys` maps the index of
    a bar to the key from there on; `voices` gives a role other instruments from a quarter on; `pickup_q` shortens the
    first bar, and the count-in with it; `sections` are names with their first bar; `mix` gives a role level, pan and
    room.
    """
    meters = [meter] * len(bars) if isinstance(meter, str) else list(meter)
    home = Key.parse(key)
    played: list[PlayedBar] = []
    spans: list[ChordSpan] = []
    at = Fraction(0)
    for i, (text, name) in enumerate(zip(bars, meters, strict=True), start=1):
        upper, lower = name.split("/")
        m = Meter.of(int(upper), int(lower))
        home = Key.parse((keys or {}).get(i, home.name))
        length = pickup_q if i == 1 and pickup_q is not None else m.length_q
        section = [s for s, first in sections if first <= i][-1]
        number = i if pickup_q is None else i - 1
        played.append(PlayedBar(i, number, section, 0, 1, 1, i, m, at, at + length, home))
        symbols = text.split()
        for j, symbol in enumerate(symbols):
            share = length / len(symbols)
            spans.append(
                ChordSpan(at + j * share, at + (j + 1) * share, chord(symbol), symbol, symbol, i)
            )
        at += length
    firsts = [first for _, first in sections] + [len(bars) + 1]
    passes = tuple(
        SectionPass(name, 1, 1, "chorus", first, firsts[n + 1] - 1)
        for n, (name, first) in enumerate(sections)
    )
    steps = (
        (TempoStep(Fraction(0), round(60_000_000 / qpm)),)
        if isinstance(qpm, Fraction | int)
        else tuple(TempoStep(Fraction(q), us) for q, us in qpm)
    )
    count_in_q = count_in_bars * played[0].meter.length_q - (
        played[0].length_q if pickup_q is not None and count_in_bars else 0
    )
    tempo = TempoMap(steps, -count_in_q)
    timeline = Timeline(
        title, "", played[0].key, "plain", tuple(played), tuple(spans), passes, steps,
        pickup=pickup_q is not None,
    )  # fmt: skip
    given = default_notes(at) if notes is None else notes
    parts, players, performed = [], [], []
    style = Style(
        "plain", "even and plain", "", (played[0].meter,), 60, 120, 200, STRAIGHT,
        Fraction(1, 2), False, True, None, (),
    )  # fmt: skip
    for role in in_score_order(set(given)):
        usual, level_db, side, room = BAND[role]
        level_db, side, room = (mix or {}).get(role, (level_db, side, room))
        changes = [(float(-count_in_q), usual), *(voices or {}).get(role, ())]
        part = Part(role, INSTRUMENTS[usual], {}, level_db=level_db, pan=side, room=room)
        parts.append(part)
        players.append(Player(role, (PartStart(-count_in_q, part, style),), ()))
        performed.append(
            PerformedPlayer(
                role,
                tuple(
                    Voice(
                        tempo.seconds(Fraction(q)),
                        Fraction(q),
                        INSTRUMENTS[name],
                        level_db,
                        side,
                        room,
                    )
                    for q, name in changes
                ),
                tuple(
                    PerformedNote(
                        tempo.seconds(Fraction(q)),
                        tempo.seconds(Fraction(q) + Fraction(length)),
                        q,
                        q + length,
                        pitch,
                        velocity,
                    )
                    for q, length, pitch, velocity in sorted(given[role])
                ),
            )
        )
    last = max((n.release_s for p in performed for n in p.notes), default=tempo.seconds(at))
    markers = tuple(
        Marker(tempo.seconds(played[first - 1].start_q), played[first - 1].start_q, name)
        for name, first in sections
    )
    return Performance(
        Arrangement(timeline, style, 1, tuple(players), count_in_q, count_in_bars, silent),
        tempo,
        tuple(performed),
        markers,
        tempo.seconds(Fraction(0)),
        duration_s if duration_s is not None else last + RING_S,
        fade_s,
    )


def default_notes(length_q: Fraction) -> dict[str, list[tuple[float, float, int, int]]]:
    """Drums, bass and chords on every quarter, enough to be heard."""
    quarters = range(int(length_q))
    return {
        "keys": [(q, 0.9, p, 70) for q in quarters for p in (60, 64, 67, 71)],
        "bass": [(q, 0.95, 36 + 2 * (q % 4), 90) for q in quarters],
        "drums": [
            *((q, 0.25, 36, 95) for q in quarters if q % 2 == 0),
            *((q, 0.25, 38, 95) for q in quarters if q % 2),
            *((q / 2, 0.25, 42, 60) for q in range(2 * int(length_q))),
        ],
    }
