"""A track as its leader sees it before anything is decided: form, players, where there is freedom to decide.

Conventions: sections count from 0; shares run from 0 at the first bar of the choruses to 1 at their end.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import lru_cache
from typing import NamedTuple

from backing.band.course import LOUD
from backing.ground.dice import Place
from backing.ground.roles import in_score_order, role_of
from backing.styles.model import Style
from backing.timeline.model import SectionPass, TimeFeel, Timeline

SHORTEST = 16  # bars of a track in which anybody waits


class Track(NamedTuple):
    """`styles` and `players` (all who are seated) are told section by section; `leader` is who of those who comp always
    states the chords in a style, "" where it is for chance to say."""

    timeline: Timeline
    styles: Sequence[Style]
    players: Sequence[Collection[str]]
    leaders: Sequence[str]
    seed: int

    @property
    def place(self) -> Place:
        """The stem of every chance of the plan."""
        return Place((self.seed, "plan"))

    @property
    def sections(self) -> Sequence[SectionPass]:
        return self.timeline.sections

    @property
    def inside(self) -> list[int]:
        """The sections of the choruses."""
        return [n for n, s in enumerate(self.sections) if s.part == "chorus"]

    @property
    def long(self) -> bool:
        """Whether there is time for somebody to come later."""
        inside = self.inside
        return len(inside) > 1 and sum(map(self.bars, inside)) >= SHORTEST

    def bars(self, number: int) -> int:
        section = self.sections[number]
        return section.last - section.first + 1

    def shares(self) -> dict[int, float]:
        """Where every section of the choruses begins."""
        found, at = {}, 0
        for number in self.inside:
            found[number] = at
            at += self.bars(number)
        return {number: bars / max(1, at) for number, bars in found.items()}

    def free(self, number: int) -> bool:
        """Whether the leader may let somebody rest: nothing is written about who plays, nor that it is loud."""
        section = self.sections[number]
        bars = self.timeline.bars[section.first - 1 : section.last]
        return all(
            bar.players is None
            and not bar.rubato
            and (bar.dynamic is None or max(bar.dynamic, bar.dynamic_end or 0.0) < LOUD)
            for bar in bars
        )

    def in_time(self, number: int) -> bool:
        """Whether nothing is written about the time feel of a section."""
        section = self.sections[number]
        bars = self.timeline.bars[section.first - 1 : section.last]
        return all(bar.time_feel is TimeFeel.NORMAL and not bar.rubato for bar in bars)

    def comping(self, number: int) -> tuple[str, ...]:
        """Who comps in a section."""
        return tuple(p for p in in_score_order(self.players[number]) if role_of(p).leads)

    def of_role(self, number: int, role: str) -> tuple[str, ...]:
        found = (p for p in in_score_order(self.players[number]) if role_of(p).name == role)
        return tuple(found)

    def core(self, number: int) -> frozenset[str]:
        """Those without whom the style is not itself, who never wait: bass and drums, and whom the style names.

        Percussion keeps time in a style with a clave, and where there are no drums.
        """
        style, players = self.styles[number], self.players[number]
        return _core(style, frozenset(players))


@lru_cache(maxsize=256)
def _core_of(names: frozenset[str], clave: bool, core: tuple[str, ...]) -> frozenset[str]:
    roles = {role_of(p).name for p in names}
    kept = {"bass", "drums", "melody"}
    if clave or "drums" not in roles:
        kept.add("percussion")
    if not any(role_of(p).leads for p in names):
        kept |= {"horns", "strings"}
    return frozenset(p for p in names if p in core or role_of(p).name in kept)


def _core(style: Style, players: frozenset[str]) -> frozenset[str]:
    return _core_of(players, style.clave is not None, style.core)
