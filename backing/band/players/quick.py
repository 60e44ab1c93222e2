"""Quick rows: a chord on every beat, and who of those who comp does what in it.

One player leads and states every chord; the others play its guide tones once a bar, or rest. How they do that changes
from chorus to chorus, and with the seed.

    leads     legato: every chord held for its beat · early: likewise, but the last chord of a bar comes an eighth ahead ·
              broken: the lower voices on the beat, the upper ones behind it · short: every stroke damped, accents on
              the even beats · pairs: every other chord struck twice
    follows   rests · the first chord of a bar · the first and the third · the last · in a gap behind the second (of three: the first)

Conventions: a row has three chords or more of a beat or less each. Source: players who know a tune do not all strike
every chord (common practice).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import NamedTuple

from backing.band.players.common import BarPlan, Brief, Change, band
from backing.ground.dice import Place
from backing.ground.roles import COMPING, role_of

LEAST = 3  # chords that make a row
BROKEN_UP_TO = 152  # quarters a minute at which a beat can be broken at ease

LEADS = {
    "keys": ("legato", "early", "broken", "pairs"),
    "guitar": ("legato", "early", "short", "pairs"),
}
FOLLOWS = {
    "p": ("rests", "first"),
    "mf": ("first", "gap", "last"),
    "f": ("first and third", "gap", "first"),
}
WORDS = {
    "legato": "leads through a chord on every beat, each held",
    "early": "leads through a chord on every beat, the last one early",
    "broken": "leads through a chord on every beat, broken",
    "pairs": "leads through a chord on every beat, every other one struck twice",
    "short": "leads through a chord on every beat, short",
    "first": "another leads through a chord on every beat: its guide tones on the first",
    "first and third": "another leads through a chord on every beat: its guide tones on every other",
    "last": "another leads through a chord on every beat: its guide tones on the last",
    "gap": "another leads through a chord on every beat: its guide tones in the gap",
}


class Quick(NamedTuple):
    """A chord of a row: what its player does, at which beat of the row in its bar (from 0), and of how many."""

    way: str
    leads: bool
    beat: int
    beats: int

    @property
    def before_last(self) -> bool:
        """Whether the last chord of the bar follows."""
        return self.beats > 1 and self.beat == self.beats - 2

    @property
    def told(self) -> bool:
        """Whether one who follows strikes this chord."""
        third = (0, 2) if self.beats > 3 else (0,)
        gap = 1 if self.beats % 2 == 0 else 0  # where no leader strikes the last chord early
        places = {
            "first": (0,),
            "first and third": third,
            "gap": (gap,),
            "last": (self.beats - 1,),
        }.get(self.way, ())
        return self.beat in places


def in_rows(brief: Brief) -> list[list[Change]]:
    """The quick rows of a section."""
    rows: list[list[Change]] = []
    for quick, run in groupby(brief.changes, key=lambda c: _quick(brief, c)):
        row = list(run)
        if quick and len(row) >= LEAST:
            rows.append(row)
    return rows


def _quick(brief: Brief, change: Change) -> bool:
    span = change.span
    number = span.bar - brief.bars[0].index
    if (
        span.chord is None
        or span.again
        or span.held
        or span.push_q
        or not 0 <= number < len(brief.bars)
    ):
        return False
    bar = brief.bars[number]
    return span.length_q <= bar.meter.beat_q and not bar.rubato


def quick_chords(brief: Brief) -> dict[int, Quick]:
    """What a player who comps does with each chord of a quick row, by its index; nothing for other players."""
    if role_of(brief.part.role).name not in COMPING:
        return {}
    found: dict[int, Quick] = {}
    for row in in_rows(brief):
        for bar, run in groupby(row, key=lambda c: c.span.bar):
            found.update(_bar(brief, bar - brief.bars[0].index, list(run)))
    return found


def _bar(brief: Brief, number: int, row: Sequence[Change]) -> dict[int, Quick]:
    """What is done with the chords of one bar of the section, by their index."""
    plan = brief.plans[number]
    leads = _leader(brief, plan) == brief.part.role
    if leads:
        ways: tuple[str, ...] = LEADS[role_of(brief.part.role).name]
        if brief.qpm > BROKEN_UP_TO:
            ways = tuple(way for way in ways if way != "broken")
    else:
        ways = FOLLOWS[band(plan.level)]
    way = _this_time(brief, brief.part.role, ways)
    if not leads and len(row) < LEAST and number % 2:
        way = "rests"  # short bars: one in two is enough
    return {c.index: Quick(way, leads, beat, len(row)) for beat, c in enumerate(row)}


def _leader(brief: Brief, plan: BarPlan) -> str:
    """Who leads: by turns, another one with the next chorus; bare fifths cannot state a chord."""
    players = [p for p in plan.comping if p != brief.part.role] + [brief.part.role]
    states = [
        p for p in players if (part := brief.style.part(p)) and part.word("voicing") != "power"
    ]
    return _this_time(brief, "leads", sorted(states or players))


def _this_time(brief: Brief, what: str, ways: Sequence[str]) -> str:
    """One of some ways by the chorus, in an order that chance has shuffled: another one each time."""
    seed, _, name, _ = brief.place.key
    place = Place((seed, "row", name, what, len(ways)))
    order = sorted(ways, key=lambda way: place.roll(way))
    return order[brief.section.chorus % len(order)]


def sounds(rows: Mapping[int, Quick], index: int) -> bool:
    """Whether a player strikes a chord: one that leads strikes all, one that follows some of a quick row."""
    quick = rows.get(index)
    return quick is None or quick.leads or quick.told
