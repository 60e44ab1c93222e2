"""What the practice page's scripts know of a tune, as plain JSON values.

Conventions: seconds count from the first sample of the sound, count-in included, as in the timeline file; `q` are
quarters from a bar line; bars and sections count from 0; a shift is semitones from the written key, -6 to 6.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from backing.chart.ast import LETTERS, Chart
from backing.ground.languages import ENGLISH
from backing.ground.levels import Levels, level_db, over
from backing.ground.pitch import Key
from backing.ground.roles import pitched
from backing.harmony.spelling import interval_for_semitones
from backing.output.asked import CONCERT, Paper
from backing.output.hand import differs, hand_key, how
from backing.output.jobs import fingerprint
from backing.output.page import beats, opus
from backing.output.page.score import Score
from backing.output.page.symbols import SHIFTS, Symbols
from backing.output.sheet.grips import chosen
from backing.output.symbols import note
from backing.output.words_sung import unsung
from backing.performance.model import Performance
from backing.timeline.marks import moved_key
from backing.timeline.model import PlayedBar, Timeline

NOTE_SIGNS = {
    Fraction(1, 2): "♪",
    Fraction(1): "♩",
    Fraction(3, 2): "♩.",
    Fraction(2): "half note",
}


def page_data(
    performance: Performance,
    chart: Chart,
    sounds: Mapping[str, opus.Packets],
    paper: Paper = CONCERT,
    levels: Levels = (),
) -> dict[str, Any]:
    """Everything, `sounds` being the players that are heard and `levels` what was asked for beside the chart's own."""
    timeline = performance.arrangement.timeline
    table = Symbols(timeline, paper.signs, chart.settings.chords or LETTERS)
    score = Score(chart, timeline, SHIFTS)
    tab, sung = tab_of(performance), Verses(chart).words
    chords = chord_data(performance, table)
    bars = [
        {**bar_data(bar, performance), **score.bar(bar), "words": sung(bar), "tab": tab[bar.index]}
        for bar in timeline.bars
    ]
    return {
        **heading(performance, chart),
        "sections": section_data(timeline),
        "choruses": timeline.choruses,
        "bars": bars,
        "staff": {"low": score.low} if score.has_melody else None,
        "figures": score.figures,
        "tab": any(tab.values()),
        "signatures": score.signatures,
        "chords": chords,
        "symbols": table.rows,
        "parts": table.shown,
        "grips": table.grips(chosen(chart, paper.near)),
        "levels": faders([*sounds, "click"], over(chart.settings.levels or (), levels)),
        "players": [player_data(performance, role, sound) for role, sound in sounds.items()],
    }


def heading(performance: Performance, chart: Chart) -> dict[str, Any]:
    """What the tune is called and how it goes as a whole."""
    timeline = performance.arrangement.timeline
    return {
        "id": fingerprint(timeline.title, timeline.by),
        "title": timeline.title or "Untitled",
        "by": timeline.by,
        "language": chart.header.language or ENGLISH,
        "style": performance.arrangement.style.name,
        "notes": chart.header.notes,
        "duration": round(performance.duration_s, 6),
        "countIn": round(performance.count_in_s, 6),
        "countInBars": performance.arrangement.count_in_bars,
        "clicked": clicked(performance),
        "clicks": beats.counted(performance),
        "keys": [key_name(_moved(timeline.bars[0].key, shift)) for shift in SHIFTS],
        "hand": hand_data(timeline),
        "beat": beat_of(performance),
    }


def chord_data(performance: Performance, table: Symbols) -> list[dict[str, Any]]:
    """Every chord as it is played: its bar, its place in it, when it sounds, and its row of symbols."""
    timeline, tempo = performance.arrangement.timeline, performance.tempo
    rows = []
    for span in timeline.chords:
        bar = timeline.bars[span.bar - 1]
        rows.append(
            {
                "bar": span.bar - 1,
                "q": float(span.start_q - bar.start_q),
                "start": round(tempo.seconds(span.start_q), 6),
                "end": round(tempo.seconds(span.end_q), 6),
                "held": span.held or span.again,
                "symbol": table.number(span, bar),
            }
        )
    return rows


def player_data(performance: Performance, role: str, sound: opus.Packets) -> dict[str, Any]:
    """A player whose sound is in the page."""
    return {
        "role": role,
        "name": instruments_of(performance, role),
        "pitched": pitched(role),
        "channels": sound.channels,
        "skip": sound.skip,
        "frames": sound.frames,
        "onsets": strokes(performance, role) if not pitched(role) else None,
    }


def faders(players: Sequence[str], levels: Levels) -> dict[str, float]:
    """Where the page's faders stand at first, in dB; the players sound so already, the click is struck so by the page."""
    found = {player: level_db(player, levels) for player in players}
    return {player: db for player, db in found.items() if db}


def section_data(timeline: Timeline) -> list[dict[str, Any]]:
    """The form as played; `time` counts the playings of a section within its chorus."""
    times: Counter[tuple[str, int]] = Counter()
    rows = []
    for s in timeline.sections:
        times[s.name, s.chorus] += 1
        rows.append(
            {
                "name": s.name or (str(s.chorus or 1) if timeline.choruses > 1 else "All"),
                "named": bool(s.name),
                "time": times[s.name, s.chorus],
                "chorus": s.chorus,
                "first": s.first - 1,
                "last": s.last - 1,
            }
        )
    return rows


def bar_data(bar: PlayedBar, performance: Performance) -> dict[str, Any]:
    """A bar: where it lies in the sound, how long it is in quarters, and where its counted beats fall."""
    tempo = performance.tempo
    counted = []
    at = bar.start_q
    while at < bar.end_q:
        counted.append(round(tempo.seconds(at), 6))
        at += bar.meter.beat_q
    return {
        "number": bar.number,
        "line": bar.line,
        "section": bar.section_index,
        "meter": bar.meter.name,
        "q": float(bar.length_q),
        "beatQ": float(bar.meter.beat_q),
        "groups": [float(q / bar.meter.beat_q) for q in bar.meter.group_starts_q],
        "start": round(tempo.seconds(bar.start_q), 6),
        "end": round(tempo.seconds(bar.end_q), 6),
        "beats": counted,
        "taps": [
            [round(tempo.seconds(bar.start_q + q), 6), *told]
            for q, *told in beats.taps(bar, 60_000_000 / tempo.us_at(bar.start_q))
        ],
    }


def tab_of(performance: Performance) -> dict[int, list[Any]]:
    """What the solo guitar plays by bar: places in quarters from the bar line, each with strings (1 highest) and frets."""
    music = performance.arrangement
    found: dict[int, dict[float, list[list[int]]]] = {bar.index: {} for bar in music.timeline.bars}
    for player in music.players:
        if player.role != "solo":
            continue
        for n in player.notes:
            bar = music.timeline.bar_at(n.start_q)
            at = round(float(n.start_q - bar.start_q), 6)
            found[bar.index].setdefault(at, []).append([n.string, n.fret])
    return {index: [[at, held] for at, held in row.items()] for index, row in found.items()}


def hand_data(timeline: Timeline) -> dict[str, Any] | None:
    """The keys of the shapes and what is done to the guitar, None where the hand plays what sounds."""
    if not differs(timeline):
        return None
    key = timeline.bars[0].key
    return {
        "keys": [key_name(hand_key(timeline, _moved(key, shift))) for shift in SHIFTS],
        "how": how(timeline.capo, timeline.tuned),
    }


def strokes(performance: Performance, role: str) -> list[float]:
    """When an unpitched player strikes, in seconds; the page cuts its sound there to play it at another tempo."""
    return sorted(
        {round(n.onset_s, 4) for p in performance.players if p.role == role for n in p.notes}
    )


def clicked(performance: Performance) -> bool:
    """True where a click was asked for during the tune."""
    return any(
        n.onset_s >= performance.count_in_s - 1e-6
        for p in performance.players
        if p.role == "click"
        for n in p.notes
    )


def instruments_of(performance: Performance, role: str) -> str:
    """What a player plays: `jazz guitar`, or several joined where the style changes."""
    for player in performance.players:
        if player.role == role:
            return ", ".join(dict.fromkeys(v.instrument.name for v in player.voices))
    return role


def beat_of(performance: Performance) -> dict[str, Any]:
    """The counted note as a sign, and how many a minute at the start."""
    first = performance.arrangement.timeline.bars[0]
    beat_q = Fraction(1) if first.meter.counted_in_eighths else first.meter.beat_q
    qpm = 60_000_000 / performance.tempo.us_at(first.start_q)
    return {"sign": NOTE_SIGNS.get(beat_q, "♩"), "bpm": round(qpm / float(beat_q), 2)}


def key_name(key: Key) -> str:
    """The tonic with its sign, and the mode where it is not major: `E♭`, `F♯ minor`, `D dorian`."""
    return note(key.tonic) + ("" if key.mode_name == "major" else f" {key.mode_name}")


class Verses:
    """The words under the bars of the sheet, a verse a playing; the last verse is sung again when there are no more."""

    def __init__(self, chart: Chart) -> None:
        self._bars = {
            (section.name, bar.number): tuple(map(unsung, bar.words)) if bar.melody else bar.words
            for section in chart.sections
            for bar in section.bars
            if bar.words
        }

    def words(self, bar: PlayedBar) -> str:
        verses = self._bars.get((bar.section, bar.number), ("",))
        return verses[min(bar.pass_, len(verses)) - 1]


def _moved(key: Key, shift: int) -> Key:
    return moved_key(key, interval_for_semitones(key, shift))[0]
