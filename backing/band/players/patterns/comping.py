"""How those who comp share the room: who leads, and what one who follows leaves out (common practice)."""

from __future__ import annotations

from fractions import Fraction

from backing.band.players.common import Brief
from backing.band.players.patterns.choose import COMPING, CONVERSING, Policy, choose
from backing.band.players.patterns.lay import Chosen
from backing.band.players.patterns.traits import density
from backing.ground.timebase import EIGHTH
from backing.styles.grid import part_choices
from backing.styles.model import Style, Where


def holds_ideas(style: Style) -> bool:
    """Whether comping keeps to an idea: all but the styles in swung eighths that add colours."""
    return not style.colour or style.feel.straight or style.feel.unit_q != EIGHTH


def policy(style: Style) -> Policy:
    """How those who comp choose in a style."""
    return COMPING if holds_ideas(style) else CONVERSING


def chosen(brief: Brief) -> list[Chosen | None]:
    """The patterns of one who comps, bar by bar."""
    return choose(brief, policy(brief.style))


def leader(style: Style) -> str:
    """Who of those who comp always leads: whose patterns are clearly denser; "" where nobody's are."""
    counts = {}
    for part in style.comping:
        time = part_choices(part, style.meters[0], "mf", Where.TIME)
        if time:
            counts[part.role] = sum(map(density, time)) / len(time)
    if len(counts) < 2 or not holds_ideas(style):
        return ""
    more, less, *_ = sorted(counts, key=lambda player: -counts[player])
    return more if counts[more] >= 1.2 * counts[less] else ""


def thinned(mark: str, at_q: Fraction, busy: float) -> bool:
    """Whether a player asked to do less leaves this stroke out."""
    if mark == "g":
        return busy < 0.35
    return busy < 0.2 and mark in "xum" and at_q.denominator > 1
