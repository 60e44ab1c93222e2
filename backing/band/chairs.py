"""Who sits in the band: what plays each role, and how it differs from the others.

Conventions: chairs are in the order in which they are called: who hears whom.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from backing.band.model import Kind, Note, Why, note_order
from backing.band.players import bass, drums, guitar, keys
from backing.band.players.common import Brief, ZoneKind
from backing.band.players.patterns import comping
from backing.band.players.patterns.lay import Chosen
from backing.band.zones import fermatas
from backing.ground.instruments import DRUM_KEYS, INSTRUMENTS
from backing.ground.roles import named, role_of
from backing.styles.model import Part, Style
from backing.timeline.model import SectionPass, Timeline

PlayFunction = Callable[[Brief], list[Note]]

TIMEKEEPER = "drums"  # whose stops and silences decide on fills and crashes

CLICK = Part("click", INSTRUMENTS["click"], {}, level_db=-3.0, room=0.0, spread_ms=0.0)
MELODY = Part(
    "melody", INSTRUMENTS["clarinet"], {"p": "melody", "mf": "melody", "f": "melody"}, level_db=-2.0
)
_GUIDE = dict.fromkeys(("p", "mf", "f"), "guide tones")
SOLO = Part(
    "solo",
    INSTRUMENTS["steel guitar"],
    dict.fromkeys(("p", "mf", "f"), "chord melody"),
    level_db=0.0,
    spread_ms=4.0,
)
CLEAN = (
    "nylon guitar",
    "steel guitar",
    "jazz guitar",
    "clean guitar",
)  # on which chords and tune are clear
GUIDE_PARTS = (
    Part("strings", INSTRUMENTS["cello"], _GUIDE, level_db=-3.0, pan=0.15),
    Part("horns", INSTRUMENTS["tenor saxophone"], _GUIDE, level_db=-3.0, pan=0.15),
)


def _line(brief: Brief) -> list[Note]:
    from backing.band.players import lines  # not every band has them

    return lines.play(brief)


def _solo(brief: Brief) -> list[Note]:
    from backing.band.players import solo  # only where it is asked for

    return solo.play(brief)


def _percussion(brief: Brief) -> list[Note]:
    from backing.band.players import percussion

    return percussion.play(brief)


def _percussion_chosen(brief: Brief) -> list[Chosen | None]:
    from backing.band.players import percussion

    return percussion.chosen(brief)


def _tune(brief: Brief) -> list[Note]:
    """The written melody where it is asked for, but for notes that begin where its player rests."""
    asked = asked_for(brief.part.role, brief.timeline, brief.section)
    silent = [z for z in brief.zones if z.kind is ZoneKind.SILENT]
    sung = tuple(
        n
        for n in brief.melody
        if asked and not any(z.start_q <= n.start_q < z.end_q for z in silent)
    )
    return _line(brief._replace(melody=sung))


def _joined_bass(brief: Brief, before: list[Note], first: Note) -> None:
    """Lead the last note of the section before into the first one of this."""
    bass.join(before, first, *bass.reach(brief))


class Chair(NamedTuple):
    """How a role is played.

    `cut`: what is held over a section's start ends where the player strikes again. `chosen`: its patterns of a section,
    bar by bar. `join` leads the notes played so
    far into the first one of a section. `cues`: gives the beat after a fermata. `alone`: hears those only who are heard in
    the track, and plays what they do not.
    """

    play: PlayFunction
    cut: bool = True
    chosen: Callable[[Brief], list[Chosen | None]] = comping.chosen
    join: Callable[[Brief, list[Note], Note], None] | None = None
    cues: bool = False
    alone: bool = False


BAND: Mapping[str, Chair] = {
    "bass": Chair(bass.play, chosen=bass.chosen, join=_joined_bass),
    "guitar": Chair(guitar.play),
    "keys": Chair(keys.play),
    "drums": Chair(drums.play, chosen=drums.chosen, cues=True),
    "strings": Chair(_line),
    "horns": Chair(_line),
    "percussion": Chair(_percussion, chosen=_percussion_chosen),
    "melody": Chair(_tune, cut=False),
    "solo": Chair(_solo, cut=False, alone=True),
}


def called(players: Collection[str]) -> tuple[str, ...]:
    """Some players in the order in which they are called."""
    return tuple(p for role in BAND for p in role_of(role).players if p in players)


def seated(style: Style, timeline: Timeline, guide_tones: bool) -> dict[str, Part]:
    """The parts of a style's players, by player.

    A written melody finds someone to play it. The line of guide tones goes to strings or horns that the style lacks;
    where it has both, the strings leave their own part for it. A solo guitar has the tune where it is asked for.
    """
    solo = bool(timeline.chord_melody and timeline.melody)
    parts = {part.role: part for part in style.parts if _sits(part, timeline, solo)}
    if solo:
        parts.setdefault(SOLO.role, _solo_part(style))
    elif timeline.melody:
        parts.setdefault(MELODY.role, MELODY)
    if guide_tones:
        free = [part for part in GUIDE_PARTS if part.role not in parts] or [GUIDE_PARTS[0]]
        parts[free[0].role] = free[0]
    return parts


def _sits(part: Part, timeline: Timeline, solo: bool) -> bool:
    """Whether a player of a style has something to play; a solo guitar takes the place of the tune and of the guitars."""
    if part.role == SOLO.role:
        return solo
    if part.kind.tune:
        return bool(timeline.melody) and not solo
    return not (solo and part.kind.strings)


def _solo_part(style: Style) -> Part:
    """The guitar that the style has, where tune and chords are clear on it."""
    own = next((p for p in style.parts if p.kind.strings and p.instrument.name in CLEAN), None)
    return (
        SOLO
        if own is None
        else replace(SOLO, instrument=own.instrument, low=own.low, high=own.high)
    )


def asked_for(player: str, timeline: Timeline, section: SectionPass) -> bool:
    """Whether a player is heard in a section: the melody in the first and the last chorus, or where it is named."""
    if not role_of(player).tune or section.chorus in (0, 1, timeline.choruses):
        return True
    players = timeline.bars[section.first - 1].players
    return players is not None and named(player, players)


def held(timeline: Timeline) -> list[tuple[Fraction, Fraction, Fraction]]:
    """Start, cue and end of every fermata that the music goes on from."""
    found = []
    for span, end in fermatas(timeline):
        beat = timeline.bars[span.bar - 1].meter.beat_q
        # a held chord goes at half tempo, so half of its beat is a beat of what follows
        found.append((span.sounds_q, max(span.sounds_q, end - beat / 2), end))
    return found


def cue(player: str, timeline: Timeline, notes: list[Note]) -> None:
    """Add a cue for the beat after every fermata, where the player goes on there."""
    why = Why(Kind.CUE, "cue after the fermata")
    for _, at, end in held(timeline):
        after = timeline.bar_at(end)
        left_out = after.players is not None and not named(player, after.players)
        if not (left_out or named(player, after.tacet) or after.rubato):
            key = DRUM_KEYS["pedal hat"]
            notes.append(Note(at, at + Fraction(1, 4), key, 70, why, strict=True))
    notes.sort(key=note_order)
