"""The leader's plan of a track in words: for every playing of a section who plays, how loud, and what was decided and why.

Conventions: bars by their number on the sheet, `+` where they were added; levels by the nearest dynamic.
"""

from __future__ import annotations

from collections.abc import Iterator

from backing.band.led import Backing, SectionPlan
from backing.band.model import Arrangement
from backing.ground.manners import FLAT
from backing.ground.timebase import DYNAMICS
from backing.timeline.model import SectionPass


def plan_text(name: str, arrangement: Arrangement) -> str:
    """The plan as a page."""
    timeline = arrangement.timeline
    kind = "everybody plays steadily throughout" if timeline.plan == FLAT else "full"
    title = f"{name}: {timeline.title or 'untitled'} ({arrangement.style.name}, seed {arrangement.seed}, plan: {kind})"
    lines = [title]
    for section, led in zip(timeline.sections, arrangement.plan.sections, strict=True):
        lines += ["", *_section(arrangement, section, led)]
    return "\n".join(lines)


def _section(arrangement: Arrangement, section: SectionPass, led: SectionPlan) -> Iterator[str]:
    chorus = (
        f", chorus {section.chorus}" if arrangement.timeline.choruses > 1 and section.chorus else ""
    )
    meant = f", {led.energy}" if led.energy else ""
    name = section.name or "chorus" * bool(section.chorus) or "added"
    yield f"{name}{chorus} · {_bars(arrangement, section)} · {dynamic(led.opens)}{meant}"
    playing = [
        f"{player} (leads the chords)" if player == led.leads else player
        for player in playing_in(arrangement, section, led)
    ]
    yield f"  play: {', '.join(playing) or 'nobody'}"
    for decision in led.decisions:
        yield f"  {decision.told}"


def _bars(arrangement: Arrangement, section: SectionPass) -> str:
    bars = arrangement.timeline.bars[section.first - 1 : section.last]
    first, last = bars[0].number, bars[-1].number
    if not bars[0].line:
        return f"{len(bars)} bar{'s' if len(bars) > 1 else ''} added"
    numbers = f"bar {first}" if first == last else f"bars {first} to {last}"
    played = f"{section.first}" if len(bars) == 1 else f"{section.first} to {section.last}"
    return numbers if section.first == first else f"{numbers} (played {played})"


def playing_in(arrangement: Arrangement, section: SectionPass, led: SectionPlan) -> tuple[str, ...]:
    """Who has notes in a section, in score order."""
    bars = arrangement.timeline.bars
    start, end = bars[section.first - 1].start_q, bars[section.last - 1].end_q
    count = section.last - section.first + 1
    return tuple(
        p.role
        for p in arrangement.players
        if p.role != "click"
        and not all(led.rests_at(p.role, bar) for bar in range(count))
        and any(start <= note.start_q < end for note in p.notes)
    )


def dynamic(level: float) -> str:
    """The nearest dynamic.

    >>> dynamic(3.4), dynamic(1.75)
    ('mf', 'mp')
    """
    return min(DYNAMICS, key=lambda name: abs(DYNAMICS[name] - level))


def plan_json(arrangement: Arrangement) -> dict[str, object]:
    """The plan for programs: bars count as played from 1, levels run from 0 (pp) to 5 (ff)."""
    timeline = arrangement.timeline
    return {
        "plan": timeline.plan,
        "seed": arrangement.seed,
        "sections": [
            {
                "section": section.name,
                "pass": section.pass_,
                "chorus": section.chorus,
                "first": section.first,
                "last": section.last,
                "level": round(led.opens, 2),
                "energy": led.energy,
                "leads": led.leads,
                "plays": list(playing_in(arrangement, section, led)),
                "rests": [
                    {
                        "player": rest.player,
                        "first": section.first + rest.first,
                        "last": section.first + rest.last,
                        "why": rest.why.value,
                    }
                    for rest in led.rests
                ],
                "keys_up": led.keys_up,
                "backing": "" if led.backing is Backing.NONE else led.backing.value,
                "decisions": [
                    {
                        "move": d.move.value,
                        "about": d.about,
                        "players": list(d.players),
                        "why": d.why.value,
                    }
                    for d in led.decisions
                ],
            }
            for section, led in zip(timeline.sections, arrangement.plan.sections, strict=True)
        ],
    }
