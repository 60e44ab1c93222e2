"""The band leader: plans the form, tells every player what to do, and gathers what they play.

Players are called section by section in the order of `BAND`, each hearing those before it. The whole band is always
arranged, and players who are left out of a track are dropped at the end, so that the others play the same notes
without them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from backing.band.arc import evened
from backing.band.bookends import counted_in
from backing.band.briefing import Form, brief_of, form_of
from backing.band.chairs import BAND, CLICK, asked_for, cue, held
from backing.band.model import Arrangement, Note, PartStart, Player, note_order
from backing.band.plan import melody_bars
from backing.band.players import click as click_player
from backing.band.players.common import Brief, Marks, Zone, ZoneKind
from backing.band.players.patterns.told import with_patterns
from backing.band.staged import touched
from backing.band.zones import sounding
from backing.ground.errors import ArrangementError
from backing.ground.instruments import STANDARD_TUNING
from backing.ground.roles import in_score_order, named, role_of
from backing.ground.tunings import open_strings
from backing.styles.model import Style
from backing.timeline.model import Timeline


def arrange(
    timeline: Timeline,
    style: Style,
    seed: int = 1,
    styles: Mapping[str, Style] | None = None,
    *,
    only: frozenset[str] = frozenset(),
    without: frozenset[str] = frozenset(),
    click: str = "off",
    guide_tones: bool = False,
    plain: bool = False,
    sections: int | None = None,
    between: Callable[[], object] = lambda: None,
) -> Arrangement:
    """Every player's notes for a timeline.

    `styles` holds the styles that sections name for themselves. `only` and `without` choose who is heard, by player or
    by role (everyone where both are empty; the count-in stays with `only`), `click` is one of `players.click.KINDS`,
    `plain` leaves out every colour that is not written, `guide_tones` adds the line of thirds and sevenths.
    With `sections` only so many are played, as in the whole but for how the last of them leads on. `between` is called
    before each player's next section; what it raises ends the work.
    Raises `ArrangementError` where a player cannot play its part.
    """
    form = form_of(timeline, style, seed, styles or {}, guide_tones=guide_tones, plain=plain)
    timeline = form.timeline
    clicked = not named(CLICK.role, without)
    kept = [p for p in form.players if (not only or named(p, only)) and not named(p, without)]
    tracks = _tracks(form, frozenset(kept), sections, between)
    players = [
        Player(player, tuple(tracks[player].starts), tuple(tracks[player].notes))
        for player in in_score_order(kept)
        if sections is None or tracks[player].starts
    ]
    count = click_player.count_in(timeline) if clicked else click_player.NONE
    if form.parts:
        own = [part for player, part in form.parts[0].items() if player in kept]
        count = counted_in(count, timeline, own, seed)
    clicks = list(count.notes)
    if clicked:
        clicks += click_player.clicks(timeline.bars, click, held(timeline))
    if clicks:
        begins = PartStart(-count.length_q, CLICK, style)
        players.append(Player(CLICK.role, (begins,), tuple(clicks)))
    silent = frozenset() if clicked and click != "off" else _silent(form, kept)
    return Arrangement(
        timeline, style, seed, tuple(players), count.length_q, count.bars, silent, form.plan
    )


class _Track(NamedTuple):
    """What one player plays, so far: notes in order, and from where on which part."""

    notes: list[Note]
    starts: list[PartStart]


def _tracks(
    form: Form, kept: frozenset[str], sections: int | None, between: Callable[[], object]
) -> dict[str, _Track]:
    """Everyone's notes: a player goes through the whole piece before the next one listens; `kept` are heard in the end."""
    heard: list[dict[str, tuple[Note, ...]]] = [{} for _ in form.timeline.sections]
    tracks = {}
    for player in form.players:
        alone = BAND[role_of(player).name].alone
        audible = [{p: n for p, n in s.items() if p in kept} for s in heard] if alone else heard
        tracks[player], played = _through(form, player, audible, sections, between)
        for number, notes in played.items():
            heard[number][player] = notes
    for player, track in tracks.items():
        if BAND[role_of(player).name].cues:
            cue(player, form.timeline, track.notes)
    return tracks


def _through(
    form: Form,
    player: str,
    heard: Sequence[Mapping[str, tuple[Note, ...]]],
    sections: int | None,
    between: Callable[[], object],
) -> tuple[_Track, dict[int, tuple[Note, ...]]]:
    """One player through the piece, and what the others hear of it in each section."""
    chair = BAND[role_of(player).name]
    track = _Track([], [])
    places: dict[int, slice] = {}
    called: Marks = ()
    for number in range(len(form.timeline.sections))[:sections]:
        between()
        if player not in form.parts[number]:
            called = ()
            continue
        brief = brief_of(form, number, player, track.notes, heard[number])._replace(called=called)
        line = touched(brief, sorted(chair.play(brief), key=note_order))
        line = evened(brief, line, len(form.parts[number]))
        line, called = with_patterns(brief, line, chair.chosen)
        _check(brief, line)
        if chair.cut:
            _cut_at_border(track.notes, brief.start_q, line, brief.zones[0])
        if chair.join is not None and track.notes and line:
            chair.join(brief, track.notes, line[0])
        places[number] = slice(len(track.notes), len(track.notes) + len(line))
        track.notes.extend(line)
        if not track.starts or track.starts[-1].part != brief.part:
            track.starts.append(PartStart(brief.start_q, brief.part, brief.style))
    return track, {number: tuple(track.notes[at]) for number, at in places.items()}


def _cut_at_border(before: list[Note], start: Fraction, line: Sequence[Note], zone: Zone) -> None:
    """End what is held over a section's start where the player strikes again, or at once where nobody goes on."""
    until = line[0].start_q if line else start
    if not line and zone.kind is ZoneKind.STRUCK:
        until = zone.end_q  # a stroke that came early rings on
    for i in range(len(before) - 1, max(-1, len(before) - 33), -1):
        if before[i].end_q > until:
            before[i] = before[i]._replace(end_q=until)


def _check(brief: Brief, line: Sequence[Note]) -> None:
    """What must hold of whatever a player plays, in order. Raises `ArrangementError`."""
    part = brief.part
    low, high = part.instrument.low, part.instrument.high
    if part.kind.strings:  # tuned lower, an instrument has a lower lowest note
        strings = open_strings(brief.timeline.tuning)
        low += min(0, brief.timeline.tuned) + min(0, strings[0] - STANDARD_TUNING[0])
    for note in (line[0], line[-1]) if line else ():
        if not brief.start_q <= note.start_q < brief.end_q:
            raise _unplayable(brief, note, "lies outside its section")
    for note in line:
        a, b = note.start_q, note.end_q
        if a.numerator * b.denominator >= b.numerator * a.denominator:
            raise _unplayable(brief, note, "has no length")
        if not low <= note.pitch <= high:
            raise _unplayable(brief, note, f"lies outside {part.instrument.name}, {low} to {high}")
        if not 1 <= note.velocity <= 127:
            raise _unplayable(brief, note, f"has no loudness from 1 to 127, but {note.velocity}")


def _unplayable(brief: Brief, note: Note, what: str) -> ArrangementError:
    bar = brief.timeline.bar_at(note.start_q)
    where = f"bar {bar.number}" if bar.number else "the ending"
    sound = f"{'MIDI note' if brief.part.kind.pitched else 'drum key'} {note.pitch}"
    return ArrangementError(f"the {brief.part.role} cannot play {where}: {sound} {what}")


def _silent(form: Form, players: Iterable[str]) -> frozenset[int]:
    """Bars in which none of some players is meant to sound."""
    bars = form.timeline.bars
    heard = [False] * len(bars)
    for player in players:
        zoned = [zone for section in form.zones[player] for zone in section]
        meant = sounding(zoned, bars)
        if role_of(player).tune:
            meant = [m and t for m, t in zip(meant, _tune_bars(form.timeline, player), strict=True)]
        heard = [a or b for a, b in zip(heard, meant, strict=True)]
    return frozenset(bar.index for bar, some in zip(bars, heard, strict=True) if not some)


def _tune_bars(timeline: Timeline, player: str) -> list[bool]:
    """For each bar whether the chart's melody sounds in it and is asked for."""
    asked = [
        asked_for(player, timeline, section)
        for section in timeline.sections
        for _ in range(section.first, section.last + 1)
    ]
    sung = melody_bars(timeline, timeline.bars)
    return [a and b for a, b in zip(asked, sung, strict=True)]
