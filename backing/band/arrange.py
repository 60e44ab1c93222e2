"""The band leader: plans the form, tells every player what to do, and gathers what they play.

Players are called section by section in the order of `BAND`, each hearing those before it. The whole band is always
arranged, and players who are left out of a track are dropped at the end, so that the others play the same notes
without them.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import TypeVar

from backing.band.model import Arrangement, Kind, Note, PartStart, Player, Why, note_order
from backing.band.plan import melody_bars, plans, shared
from backing.band.players import bass, drums, guitar, keys
from backing.band.players import click as click_player
from backing.band.players.common import Brief, Change, Zone, ZoneKind
from backing.band.players.patterns.comping import holds_ideas, leader
from backing.band.zones import bounds, fermatas, heard_until, sounding, zones
from backing.ground.dice import Place
from backing.ground.instruments import DRUM_KEYS, INSTRUMENTS, in_score_order
from backing.styles.model import Part, Style
from backing.timeline.model import Hit, MelodyNote, SectionPass, Timeline

PlayFunction = Callable[[Brief], list[Note]]

CLICK = Part("click", INSTRUMENTS["click"], {}, level_db=-3.0, room=0.0, spread_ms=0.0)
MELODY = Part(
    "melody", INSTRUMENTS["clarinet"], {"p": "melody", "mf": "melody", "f": "melody"}, level_db=-2.0
)


_GUIDE = dict.fromkeys(("p", "mf", "f"), "guide tones")
GUIDE_PARTS = (
    Part("strings", INSTRUMENTS["cello"], _GUIDE, level_db=-3.0, pan=0.15),
    Part("horns", INSTRUMENTS["tenor saxophone"], _GUIDE, level_db=-3.0, pan=0.15),
)


def _line(brief: Brief) -> list[Note]:
    from backing.band.players import lines  # not every band has them

    return lines.play(brief)


def _percussion(brief: Brief) -> list[Note]:
    from backing.band.players import percussion

    return percussion.play(brief)


# In the order in which they are called: who hears whom.
BAND: Mapping[str, PlayFunction] = {
    "bass": bass.play,
    "drums": drums.play,
    "keys": keys.play,
    "guitar": guitar.play,
    "strings": _line,
    "horns": _line,
    "percussion": _percussion,
    "melody": _line,
}


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
) -> Arrangement:
    """Every player's notes for a timeline.

    `styles` holds the styles that sections name for themselves. `only` and `without` choose who is heard (everyone
    where both are empty; the count-in stays with `only`), `click` is one of `players.click.KINDS`, `plain` leaves out
    every colour that is not written, `guide_tones` adds the line of thirds and sevenths.
    """
    named = styles or {}
    band_styles = [
        named.get(timeline.bars[s.first - 1].style or "", style) for s in timeline.sections
    ]
    parts = [_parts(s, timeline, guide_tones) for s in band_styles]
    roles = tuple(r for r in BAND if any(r in p for p in parts))
    zoned = {role: zones(timeline, role) for role in roles}
    drums = zoned["drums"] if "drums" in zoned else zones(timeline, "drums")
    led = plans(timeline, drums, seed, [own.clave for own in band_styles])
    heard = _changes(timeline)
    tasks = [
        shared(
            timeline, i, led[i], {role: zoned[role][i] for role in roles if role in parts[i]}, seed,
            leader(own), not holds_ideas(own),
        )
        for i, own in enumerate(band_styles)
    ]  # fmt: skip
    notes: dict[str, list[Note]] = {}
    starts: dict[str, list[PartStart]] = {}
    played: list[dict[str, tuple[Note, ...]]] = [{} for _ in timeline.sections]
    for role in roles:  # a player goes through the whole piece before the next one listens
        mine: list[Note] = []
        cuts: list[tuple[int, int, int]] = []  # section, and where its notes lie
        began: list[PartStart] = []
        for i, section in enumerate(timeline.sections):
            if role not in parts[i]:
                continue
            part, own, here = parts[i][role], band_styles[i], zoned[role][i]
            changes, ahead = heard[i]
            bars = timeline.bars[section.first - 1 : section.last]
            start, end = bounds(timeline, section)
            melody = tuple(_between(timeline.melody, start, end))
            brief = Brief(
                timeline=timeline,
                section=section,
                style=own,
                part=part,
                bars=bars,
                plans=tasks[i][role],
                changes=changes,
                ahead=ahead,
                zones=here,
                place=Place((seed, role, section.name, section.pass_)),
                melody=melody,
                kicks=tuple(h for h in _between(timeline.hits, start, end) if h.kick),
                heard=dict(played[i]),
                colour=not plain and own.colour and bars[0].colour is not False,
                qpm=_qpm(timeline, start),
                begun=_begun(changes, start, mine, zoned[role][i - 1] if i else ()),
            )
            if role == "melody":
                asked = not _silent_melody(role, timeline, section)
                brief = brief._replace(melody=_played(melody, here) if asked else ())
            line = BAND[role](brief)
            line.sort(key=note_order)
            _check(line, part, start, end, timeline.tuned if role == "guitar" else 0)
            if role != "melody":
                _cut_at_border(mine, start, line, here[0])
            if role == "bass" and mine and line:
                bass.join(mine, line[0], *bass.reach(brief))
            cuts.append((i, len(mine), len(mine) + len(line)))
            mine.extend(line)
            if not began or began[-1].part != part:
                began.append(PartStart(start, part, own))
        for i, since, until in cuts:
            played[i][role] = tuple(mine[since:until])
        notes[role], starts[role] = mine, began
    if "drums" in notes:
        _cue(timeline, notes["drums"])
    count = click_player.NONE if "click" in without else click_player.count_in(timeline)
    chosen = in_score_order({r for r in roles if (not only or r in only) and r not in without})
    players = [Player(r, tuple(starts[r]), tuple(notes[r])) for r in chosen]
    clicks = list(count.notes)
    if "click" not in without:
        clicks += click_player.clicks(timeline.bars, click, _held(timeline))
    if clicks:
        first = PartStart(-count.length_q, CLICK, style)
        players.append(Player("click", (first,), tuple(clicks)))
    return Arrangement(
        timeline,
        style,
        seed,
        tuple(players),
        count.length_q,
        count.bars,
        _silent(timeline, {r: zoned[r] for r in chosen}, click != "off" and "click" not in without),
    )


def _begun(
    changes: Sequence[Change], start: Fraction, before: Sequence[Note], zones: Sequence[Zone]
) -> bool:
    """Whether a player struck the pushed first chord of a section before its start; drums mark it where they keep time."""
    first = changes[0].span if changes else None
    if (
        first is None
        or not first.push_q
        or not first.sounds_q < start == first.start_q
        or not zones
    ):
        return False
    late = [note for note in before[-16:] if note.start_q >= first.sounds_q]
    if all(note.chord < 0 for note in late):
        return zones[-1].kind in (ZoneKind.TIME, ZoneKind.KICKS) and bool(late)
    return any(note.chord == changes[0].index for note in late)


def _cut_at_border(before: list[Note], start: Fraction, line: Sequence[Note], zone: Zone) -> None:
    """End what is held over a section's start where the player strikes again, or at once where nobody goes on."""
    until = line[0].start_q if line else start
    if not line and zone.kind is ZoneKind.STRUCK:
        until = zone.end_q  # a stroke that came early rings on
    for i in range(len(before) - 1, max(-1, len(before) - 33), -1):
        if before[i].end_q > until:
            before[i] = before[i]._replace(end_q=until)


def _parts(style: Style, timeline: Timeline, guide_tones: bool) -> dict[str, Part]:
    """The players of a style in the order in which they are called.

    A written melody finds someone to play it. The line of guide tones goes to strings or horns that the style lacks;
    where it has both, the strings leave their own part for it.
    """
    parts = {part.role: part for part in style.parts}
    if timeline.melody and "melody" not in parts:
        parts["melody"] = MELODY
    if not timeline.melody:
        parts.pop("melody", None)
    if guide_tones:
        free = [part for part in GUIDE_PARTS if part.role not in parts] or [GUIDE_PARTS[0]]
        parts[free[0].role] = free[0]
    return {role: parts[role] for role in BAND if role in parts}


def _changes(timeline: Timeline) -> list[tuple[tuple[Change, ...], Change | None]]:
    """For every section the chords as heard, clipped to its borders, and what is heard at its end."""
    spans = timeline.chords
    until = heard_until(timeline)
    whole = [
        Change(i, max(span.sounds_q, Fraction(0)), until[i], span) for i, span in enumerate(spans)
    ]
    whole = [change for change in whole if change.end_q > change.start_q]
    if whole and whole[0].span.push_q:  # nothing can be early at the very start
        whole[0] = whole[0]._replace(span=whole[0].span._replace(push_q=Fraction(0)))
    starts = [change.start_q for change in whole]
    found = []
    for section in timeline.sections:
        start, end = bounds(timeline, section)
        first = max(0, bisect_right(starts, start) - 1)
        last = bisect_right(starts, end) - 1  # the chord that is heard at the end
        inside = [
            c._replace(start_q=max(c.start_q, start), end_q=min(c.end_q, end))
            if c.start_q < start or c.end_q > end
            else c
            for c in whole[first : last + 1]
            if c.start_q < end
        ]
        ahead = None
        if end < timeline.length_q:
            ahead = whole[last]._replace(start_q=max(whole[last].start_q, end))
        found.append((tuple(inside), ahead))
    return found


Timed = TypeVar("Timed", MelodyNote, Hit)


def _between(found: Sequence[Timed], start: Fraction, end: Fraction) -> Sequence[Timed]:
    """Those of a row that begin in a stretch of time."""
    first, last = (bisect_left(found, q, key=lambda x: x.start_q) for q in (start, end))
    return found[first:last]


def _played(melody: Sequence[MelodyNote], zones: Sequence[Zone]) -> tuple[MelodyNote, ...]:
    """The notes of the melody that do not begin where its player rests."""
    silent = [z for z in zones if z.kind is ZoneKind.SILENT]
    return tuple(n for n in melody if not any(z.start_q <= n.start_q < z.end_q for z in silent))


def _silent_melody(role: str, timeline: Timeline, section: SectionPass) -> bool:
    """The melody is played in the first and the last chorus, elsewhere only where the chart names it."""
    if role != "melody" or section.chorus in (0, 1, timeline.choruses):
        return False
    players = timeline.bars[section.first - 1].players
    return players is None or "melody" not in players


def _qpm(timeline: Timeline, at_q: Fraction) -> float:
    steps = timeline.tempo
    return steps[max(0, bisect_right(steps, at_q, key=lambda s: s.at_q) - 1)].qpm


def _check(line: list[Note], part: Part, start: Fraction, end: Fraction, retuned: int) -> None:
    """What must hold of whatever a player plays, in order; a retuned guitar has another lowest note."""
    if line:
        first, last = line[0], line[-1]
        assert start <= first.start_q, f"{part.role} plays before its section: {first}"
        assert last.start_q < end, f"{part.role} plays after its section: {last}"
    low, high = part.instrument.low + min(0, retuned), part.instrument.high
    for note in line:
        a, b = note.start_q, note.end_q
        lasts = a.numerator * b.denominator < b.numerator * a.denominator
        assert lasts, f"{part.role} plays a note of no length: {note}"
        assert low <= note.pitch <= high, f"{part.role} leaves its range: {note}"
        assert 1 <= note.velocity <= 127, f"{part.role} plays at no loudness: {note}"


def _held(timeline: Timeline) -> list[tuple[Fraction, Fraction, Fraction]]:
    """Start, cue and end of every fermata that the music goes on from."""
    found = []
    for span, end in fermatas(timeline):
        beat = timeline.bars[span.bar - 1].meter.beat_q
        # a held chord goes at half tempo, so half of its beat is a beat of what follows
        found.append((span.sounds_q, max(span.sounds_q, end - beat / 2), end))
    return found


def _cue(timeline: Timeline, drums: list[Note]) -> None:
    """The drums cue the beat after a fermata, where they are playing at all."""
    for _, cue, end in _held(timeline):
        after = timeline.bar_at(end)
        absent = "drums" in after.tacet or (
            after.players is not None and "drums" not in after.players
        )
        if not absent and not after.rubato:
            key, why = DRUM_KEYS["pedal hat"], Why(Kind.CUE, "cue after the fermata")
            drums.append(Note(cue, cue + Fraction(1, 4), key, 70, why, strict=True))
    drums.sort(key=note_order)


def _silent(
    timeline: Timeline, zoned: Mapping[str, list[tuple[Zone, ...]]], clicked: bool
) -> frozenset[int]:
    """Bars in which nobody is meant to sound."""
    if clicked:
        return frozenset()
    heard = [False] * len(timeline.bars)
    for role, by_section in zoned.items():
        here = sounding([zone for section in by_section for zone in section], timeline.bars)
        if role == "melody":
            sung = melody_bars(timeline, timeline.bars)
            asked = [
                not _silent_melody(role, timeline, section)
                for section in timeline.sections
                for _ in range(section.first, section.last + 1)
            ]
            here = [h and m and a for h, m, a in zip(here, sung, asked, strict=True)]
        heard = [a or b for a, b in zip(heard, here, strict=True)]
    return frozenset(bar.index for bar, some in zip(timeline.bars, heard, strict=True) if not some)
