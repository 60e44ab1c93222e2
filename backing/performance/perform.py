"""From exact places to seconds: swing, human timing, strums, and the tempo map.

Conventions: as in `performance`; whatever is rounded is rounded to a microsecond or a millionth of a quarter, so that
the same input gives the same bytes everywhere. Strict notes are swung with the band but never early or late; the click
is not even swung.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from functools import partial

from backing.band.model import Arrangement, Note, PartStart, Player
from backing.ground import dice
from backing.ground.instruments import DRUM_NAMES
from backing.ground.roles import pitched, role_of
from backing.ground.timebase import EIGHTH, TRIPLET, Feel, TempoMap
from backing.performance.feel import (
    Beats,
    Clock,
    apart,
    deviations,
    drift,
    soloist_ms,
    wander,
    with_wander,
)
from backing.performance.gestures import gestures
from backing.performance.model import (
    RING_S,
    Marker,
    Performance,
    PerformedNote,
    PerformedPlayer,
    Voice,
)
from backing.performance.written import written
from backing.styles.model import PLACES, Style
from backing.timeline.model import PlayedBar, SectionPass

GAP_S = 0.002  # places of one player keep at least this distance
LATEST_MS = 60.0  # most that the drum and the place of a note add to its player's timing
_PLACES = {float(4 * at): name for name, at in PLACES.items()}
LOUDER = 4.0  # most by which a stroke differs from its meant velocity


def perform(arrangement: Arrangement, straight: bool = False) -> Performance:
    """Play an arrangement: notes in seconds by player, the tempo map, markers, and how long it all takes.

    With `straight` every note stands on the exact grid at its written loudness, for notation and editors: no human
    timing, no spread of strums, swing as written eighths; `feels` then tell how it is meant.
    """
    timeline = arrangement.timeline
    tempo = TempoMap(timeline.tempo, zero_q=-arrangement.count_in_q)
    clock = Clock(tempo)
    styles = _styles(arrangement)
    feels = [bar.feel or _style_at(styles, float(bar.start_q)).feel for bar in timeline.bars]
    if straight:
        smallest = partial(_smallest_q, timeline.bars, styles)
        players = tuple(_on_the_grid(p, clock, tempo, smallest) for p in arrangement.players)
    else:
        beats = Beats(timeline.bars, feels, clock)
        grid = _Grid(arrangement, styles)
        players = tuple(_player(p, beats, clock, tempo, grid) for p in arrangement.players)
    end_s = max((n.release_s for p in players for n in p.notes), default=0.0)
    fade_s = None
    if not timeline.fade_bars:
        end_s += RING_S
    end_s = max(end_s, clock.seconds(float(timeline.length_q)))
    if timeline.fade_bars and timeline.bars:
        fading = timeline.bars[max(0, len(timeline.bars) - timeline.fade_bars)]
        fade_s = _micro(clock.seconds(float(fading.start_q)))
    return Performance(
        arrangement,
        tempo,
        players,
        _markers(arrangement, clock),
        _micro(clock.seconds(0.0)),
        _micro(end_s),
        fade_s,
        feels=_feels(timeline.bars, feels, clock) if straight else (),
    )


def _micro(value: float) -> float:
    """To six decimals, away from 0 at the half."""
    return int(value * 1e6 + (0.5 if value >= 0 else -0.5)) / 1e6


def _styles(arrangement: Arrangement) -> list[tuple[float, Style]]:
    """Where each style of the track begins, in order."""
    found = {
        float(start.at_q): start.style
        for player in arrangement.players
        if player.role != "click"
        for start in player.parts
    }
    return sorted(found.items(), key=lambda item: item[0]) or [(0.0, arrangement.style)]


def _style_at(styles: Sequence[tuple[float, Style]], q: float) -> Style:
    return styles[max(0, bisect_right(styles, q, key=lambda item: item[0]) - 1)][1]


class _Grid:
    """The sections of a form as stretches of grid steps, with the band's common drift in each."""

    __slots__ = ("common", "ends", "keys", "lengths", "plain", "seed", "starts", "steps")

    def __init__(self, arrangement: Arrangement, styles: Sequence[tuple[float, Style]]) -> None:
        timeline = arrangement.timeline
        self.starts: list[float] = []
        self.ends: list[float] = []
        self.steps: list[int] = []  # a quarter
        self.keys: list[tuple[object, ...]] = []
        for section in timeline.sections:
            start = float(timeline.bars[section.first - 1].start_q)
            end = float(timeline.bars[section.last - 1].end_q)
            steps = max(2, round(1 / _style_at(styles, start).grid_q))
            key = (arrangement.seed, section.name, section.pass_, "feel")
            self.starts.append(start)
            self.ends.append(end)
            self.steps.append(steps)
            self.keys.append(key)
        self.lengths = [end - start for start, end in zip(self.starts, self.ends, strict=True)]
        self.seed = arrangement.seed
        plain = [drift(self.count(i), *key, "band") for i, key in enumerate(self.keys)]
        self.common = self.long(plain, "band")
        self.plain = plain

    def long(self, drifts: Sequence[Sequence[float]], role: str) -> list[tuple[list[float], float]]:
        """Every section's drift with the slow one from section to section added, and what was added."""
        offsets = wander(self.lengths, self.seed, role, "feel")
        octaves = len(self.lengths).bit_length() - 1
        return [(with_wander(d, o, octaves), o) for d, o in zip(drifts, offsets, strict=True)]

    def own(self, role: str) -> list[tuple[list[float], float]]:
        """A player's drift in every section."""
        apart_from_band = [
            apart(drift(self.count(i), *key, role), self.plain[i])
            for i, key in enumerate(self.keys)
        ]
        return self.long(apart_from_band, role)

    def count(self, i: int) -> int:
        """Grid steps in a section, and one for its end."""
        return int((self.ends[i] - self.starts[i]) * self.steps[i]) + 1


def _player(
    player: Player, beats: Beats, clock: Clock, tempo: TempoMap, grid: _Grid
) -> PerformedPlayer:
    voices = _voices(player, tempo)
    if player.role == "click":
        return PerformedPlayer(player.role, voices, tuple(_click(player, beats, clock)))
    places = [n.start_q.numerator / n.start_q.denominator for n in player.notes]
    late = _timing(player, places, beats, clock, grid)
    later = _later(player, places, beats)
    louder = _loudness(player, places, grid)
    rows: list[tuple[float, float, int, int]] = []
    for note, place, told_ms, more in zip(player.notes, places, later, louder, strict=True):
        q, _ = beats.place(place)
        end = note.end_q.numerator / note.end_q.denominator
        end_q, _ = beats.place(end)
        if not note.strict:
            shift = late[place]
            if note.order or told_ms:
                shift += (note.order * note.spread_ms + told_ms) / clock.quarter_ms(place)
            q += shift
            end_q = max(end_q + shift, q + 0.01)
        rows.append(
            (
                max(q, 0.0),
                end_q,
                note.pitch,
                min(127, max(1, note.velocity + (0 if note.strict else more))),
            )
        )
    spans = [(start, end) for start, end, *_ in rows]
    told = gestures(player.notes, spans, clock)
    return PerformedPlayer(player.role, voices, _separated(rows, clock), told)


def _voices(player: Player, tempo: TempoMap) -> tuple[Voice, ...]:
    return tuple(
        Voice(
            max(0.0, _micro(tempo.seconds(start.at_q))), start.at_q,
            start.part.instrument, start.part.level_db, start.part.pan, start.part.room,
        )
        for start in player.parts
    )  # fmt: skip


def _smallest_q(
    bars: Sequence[PlayedBar], styles: Sequence[tuple[float, Style]], at_q: Fraction
) -> Fraction:
    """The smallest note that the style thinks in at a place: thirds of a quarter are eighths where beats are dotted."""
    grid_q = _style_at(styles, float(at_q)).grid_q
    bar = bars[max(0, bisect_right(bars, at_q, key=lambda b: b.start_q) - 1)]
    return EIGHTH if grid_q == TRIPLET and bar.meter.compound else grid_q


def _on_the_grid(
    player: Player, clock: Clock, tempo: TempoMap, smallest_q: Callable[[Fraction], Fraction]
) -> PerformedPlayer:
    """The notes as they are written; the count-in's click begins before the first bar."""
    rows = written(player.notes, smallest_q)
    if player.role == "click":
        notes = tuple(_exact(float(s), float(e), p, v, clock) for s, e, p, v in rows)
    else:
        notes = _separated([(max(float(s), 0.0), float(e), p, v) for s, e, p, v in rows], clock)
    spans = [(float(n.start_q), float(n.end_q)) for n in player.notes]
    told = gestures(player.notes, spans, clock)
    return PerformedPlayer(player.role, _voices(player, tempo), notes, told)


def _feels(bars: Sequence[PlayedBar], feels: Sequence[Feel], clock: Clock) -> tuple[Marker, ...]:
    """Where the feel changes, and to what."""
    found: list[Marker] = []
    for bar, feel in zip(bars, feels, strict=True):
        words = f"feel: {feel.name}"
        if not found or found[-1].text != words:
            found.append(Marker(_micro(clock.seconds(float(bar.start_q))), bar.start_q, words))
    return tuple(found)


def _click(player: Player, beats: Beats, clock: Clock) -> Iterator[PerformedNote]:
    """The click as it stands, and what is played in the count-in swung with the band."""
    for note in player.notes:
        if not note.strict:
            start_q, _ = beats.place(float(note.start_q))
            yield _strict(note, clock, _micro(start_q - float(note.start_q)))
        else:
            yield _strict(note, clock)


def _strict(note: Note, clock: Clock, later_q: float = 0.0) -> PerformedNote:
    start, end = float(note.start_q) + later_q, float(note.end_q) + later_q
    return _exact(start, end, note.pitch, note.velocity, clock)


def _exact(start: float, end: float, pitch: int, velocity: int, clock: Clock) -> PerformedNote:
    return PerformedNote(
        max(0.0, _micro(clock.seconds(start))), _micro(clock.seconds(end)), start, end, pitch, velocity
    )  # fmt: skip


def _timing(
    player: Player, places: Sequence[float], beats: Beats, clock: Clock, grid: _Grid
) -> dict[float, float]:
    """Quarters by which the player is late at each place where something is played in time."""
    played = list(
        dict.fromkeys(p for p, n in zip(places, player.notes, strict=True) if not n.strict)
    )
    parts = [(float(start.at_q), start) for start in player.parts]
    own = grid.own(player.role)
    late: dict[float, float] = {}
    at = 0
    before_s = -1.0
    for i, start in enumerate(grid.starts):
        to = at
        while to < len(played) and played[to] < grid.ends[i]:
            to += 1
        here = played[at:to]
        at = to
        if not here:
            continue
        part = _part_at(parts, start).part
        swung = [beats.place(p) for p in here]
        steps = grid.steps[i]
        where = [
            (int((p - start) * steps + 0.01), on) for p, (_, on) in zip(here, swung, strict=True)
        ]
        (common, off), (mine, my_off) = grid.common[i], own[i]
        late_ms = part.late_ms
        if role_of(player.role).tune and beats.swings(start):
            late_ms += soloist_ms(clock.quarter_ms(start))
        shifts = deviations(where, common, mine, (off, my_off), late_ms, part.spread_ms)
        for place, (q, _), ms in zip(here, swung, shifts, strict=True):
            quarter_ms = clock.quarter_ms(q)
            on_grid_s = clock.seconds(q)
            second = max(on_grid_s + ms / 1000, before_s + GAP_S)
            before_s = second
            late[place] = (second - on_grid_s) * 1000 / quarter_ms
    return late


def _later(player: Player, places: Sequence[float], beats: Beats) -> list[float]:
    """Milliseconds by which a style, or a pattern, has each note later than its player: by drum and place in the beat."""
    told = any(start.part.timing for start in player.parts)
    if not told and not any(note.timing for note in player.notes):
        return [0.0] * len(places)
    parts = [(float(start.at_q), start) for start in player.parts]
    found = []
    for note, place in zip(player.notes, places, strict=True):
        both = (_part_at(parts, place).part.timing, dict(note.timing))
        drum = "" if pitched(player.role) else DRUM_NAMES.get(note.pitch, "")
        inside = beats.part(place) if any(both) else None
        name = "" if inside is None else _PLACES.get(round(4 * inside, 6), "")
        beat = beats.number(place) if name else ""
        keys = (drum, name, beat, f"{drum} {name}", f"{drum} {beat}")
        found.append(sum(timing.get(key, 0.0) for timing in both for key in keys))
    return [min(LATEST_MS, max(-LATEST_MS, ms)) for ms in found]


def _part_at(parts: Sequence[tuple[float, PartStart]], q: float) -> PartStart:
    return parts[max(0, bisect_right(parts, q, key=lambda item: item[0]) - 1)][1]


def _loudness(player: Player, places: Sequence[float], grid: _Grid) -> list[int]:
    """Small differences of velocity; keyed by section and beat, so that other places do not matter."""
    found: list[int] = []
    section = -1
    beat = -1
    row: list[float] = []
    taken = 0
    for place in places:
        while section + 1 < len(grid.starts) and grid.starts[section + 1] <= place:
            section += 1
            beat = -1
        here = int(place - grid.starts[section]) // 4
        if here != beat or taken >= len(row):
            again = taken if here == beat else 0
            beat = here
            row = dice.row(32, *grid.keys[section], player.role, "velocity", beat, again)
            taken = 0
        number = row[taken]
        taken += 1
        found.append(
            int((number * 2 - 1) * LOUDER + 0.5)
            if number >= 0.5
            else -int((1 - number * 2) * LOUDER + 0.5)
        )
    return found


def _separated(
    rows: list[tuple[float, float, int, int]], clock: Clock
) -> tuple[PerformedNote, ...]:
    """Notes in seconds, none running into the next one of its pitch."""
    rows.sort()
    following: dict[int, float] = {}
    found: list[PerformedNote] = []
    seconds = clock.seconds
    for start, end, pitch, velocity in reversed(rows):
        until = following.get(pitch)
        if until is not None:
            if until - start < 1e-6:
                continue  # one key cannot be struck twice at once
            end = min(end, until)
        following[pitch] = start
        start_q, end_q = int(start * 1e6 + 0.5) / 1e6, int(end * 1e6 + 0.5) / 1e6
        onset_s, release_s = seconds(start_q), seconds(end_q)
        found.append(
            PerformedNote(
                int(onset_s * 1e6 + 0.5) / 1e6,
                int(release_s * 1e6 + 0.5) / 1e6,
                start_q,
                end_q,
                pitch,
                velocity,
            )
        )
    found.reverse()
    return tuple(found)


def _markers(arrangement: Arrangement, clock: Clock) -> tuple[Marker, ...]:
    timeline = arrangement.timeline
    found = []
    if arrangement.count_in_q:
        found.append(Marker(0.0, -arrangement.count_in_q, "Count-in"))
    for section in timeline.sections:
        at = timeline.bars[section.first - 1].start_q
        found.append(Marker(_micro(clock.seconds(float(at))), at, marker_text(section)))
    return tuple(found)


def marker_text(section: SectionPass) -> str:
    """How a playing of a section is announced: `A`, `A (2)`, `Chorus 2` where sections have no names."""
    if not section.name:
        return f"Chorus {section.chorus or 1}"
    return section.name if section.pass_ == 1 else f"{section.name} ({section.pass_})"


__all__ = ["EIGHTH", "Feel", "marker_text", "perform"]
