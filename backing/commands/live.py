"""A session with what is asked of it: every key of `backing play` is a method here."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backing.commands import screen
from backing.commands.playing import (
    SILENT_DB,
    STEP_PERCENT,
    Wanted,
    changed,
    count_of,
    faster,
    higher,
)
from backing.commands.takes import MOST_AT_ONCE, Asked, Making

if TYPE_CHECKING:
    from backing.live.asked import Border, Command, Place
    from backing.live.session import Session
    from backing.live.take import Take

VOLUME_DB, STEP_DB = (-24.0, 6.0), 2.0
AHEAD = 48  # bars that are left of a window when the next one is asked for


class Live:
    """A session with what is asked of it: every key is a method."""

    def __init__(
        self,
        wanted: Wanted,
        take: Take,
        band: Any,
        soundfont: Path | None,
        *,
        apart: bool = True,
    ) -> None:
        """`apart` says whether takes are made in a process of their own."""
        from backing.live.planner import Planner
        from backing.live.session import Session

        self.wanted = wanted
        self.shown = screen.Shown(_players(take))
        self.session: Session = Session(band, take)
        self.ended = False
        self._band = band
        self._rounds = 0
        self._at_round = False
        self._goal: int | None = None  # a bar that is jumped to as soon as it is arranged
        self.planner = Planner(Making(soundfont), self._ready, self.news, apart=apart)
        if wanted.loop:
            self._command_loop()
        if take.opening:
            self.planner.ask(Asked(wanted, 0, take.last))

    # what is heard next

    def ask(self, wanted: Wanted, at_round: bool = False) -> None:
        """Want something else of the track; it is played from the next bar, or the next round."""
        self.wanted, self._at_round, self._goal = wanted, at_round, None
        self.planner.ask(Asked(wanted, self.session.place.bar, MOST_AT_ONCE if at_round else 0))

    def _ready(self, asked: Asked, take: Take) -> None:
        from backing.live.asked import Border, Change

        self._band.seat(take)
        self.shown = self.shown._replace(players=_players(take), news="")
        if self._goal is not None and take.has(self._goal):
            self._now(Change(take))
            self._play(self._goal)
            self._goal = None
            return
        self.session.command(Change(take), Border.ROUND if self._at_round else Border.BAR)

    def _now(self, command: Command, border: Border | None = None) -> None:
        from backing.live.asked import Border

        self.session.command(command, border or Border.NOW)

    def news(self, text: str) -> None:
        self.shown = self.shown._replace(news=text)

    # keys

    def toggle(self) -> None:
        from backing.live.asked import Stop

        self._goal = None
        if self.session.place.playing:
            self._now(Stop())
        else:
            self.jump(self.session.place.bar)

    def _start(self, bar: int) -> tuple[int, Take | None]:
        """A bar to play from, and its count."""
        place = self.session.place
        if bar == 0 and not self.wanted.loop:
            return 0, None
        wish = self.wanted.options()
        return bar, count_of(place.take.timeline, bar, wish, place.take.gain_db)

    def jump(self, bar: int) -> None:
        """Play from a bar; one that is not arranged yet is arranged first, and what sounds goes on until it is."""
        take = self.session.place.take
        bar = max(0, min(bar, len(take.bars) - 2))
        if take.has(bar):
            self._goal = None
            self._play(bar)
            return
        self._goal = bar
        self.news(f"{_named(take, bar)} comes as soon as it is arranged")
        self.planner.ask(Asked(self.wanted, bar))

    def _play(self, bar: int) -> None:
        from backing.live.asked import Play

        if self.session.place.playing:
            self._now(Play(bar))
        else:
            self._now(Play(*self._start(bar)))

    def bars_on(self, count: int) -> None:
        self.jump(self.session.place.bar + count)

    def section_on(self, count: int) -> None:
        place = self.session.place
        sections = place.take.timeline.sections
        here = place.take.timeline.bars[place.bar].section_index
        self.jump(sections[max(0, min(here + count, len(sections) - 1))].first - 1)

    def tempo(self, steps: int) -> None:
        self.ask(faster(self.wanted, steps))

    def key(self, semitones: int) -> None:
        self.ask(higher(self.wanted, semitones))

    def loop_from(self) -> None:
        bar = self.session.place.bar
        last = self.wanted.loop[1] if self.wanted.loop else bar
        self._loop((bar, max(bar, last)))

    def loop_to(self) -> None:
        bar = self.session.place.bar
        first = self.wanted.loop[0] if self.wanted.loop else bar
        self._loop((min(first, bar), bar))

    def whole(self) -> None:
        self._loop(None)

    def _loop(self, bars: tuple[int, int] | None) -> None:
        self.wanted = self.wanted._replace(loop=bars)
        self._command_loop()

    def _command_loop(self) -> None:
        from backing.live.asked import Loop

        self._now(Loop(*(self.wanted.loop or (None, None))))

    def climb(self) -> None:
        wanted = self.wanted._replace(climbing=0 if self.wanted.climbing else STEP_PERCENT)
        if wanted.climbing and not wanted.loop:
            wanted = wanted._replace(loop=(0, len(self.session.place.take.bars) - 2))
        self.wanted = wanted
        self._command_loop()
        self._rounds = -1  # the next round is asked for at once

    def click(self) -> None:
        click = self.wanted.wish.band.click
        self.ask(changed(self.wanted, click="beats" if click == "off" else "off"))

    def guide_tones(self) -> None:
        self.ask(changed(self.wanted, guide_tones=not self.wanted.wish.band.guide_tones))

    def another(self) -> None:
        self.ask(changed(self.wanted, seed=self.wanted.wish.band.seed + 1))

    def player(self, number: int) -> None:
        if number <= len(self.shown.players):
            self._switch(self.shown.players[number - 1])

    def melody(self) -> None:
        if "melody" in self.shown.players:
            self._switch("melody")

    def _switch(self, player: str) -> None:
        self.wanted = self.wanted._replace(silent=self.wanted.silent ^ {player})
        self._levels()

    def volume(self, steps: int) -> None:
        low, high = VOLUME_DB
        db = max(low, min(high, self.shown.volume_db + steps * STEP_DB))
        self.shown = self.shown._replace(volume_db=db)
        self._levels()

    def _levels(self) -> None:
        db = self.shown.volume_db
        self._band.levels = {
            p: SILENT_DB if p in self.wanted.silent else db for p in (*self.shown.players, "click")
        }
        self._band.silent = self.wanted.silent

    def help(self) -> None:
        self.shown = self.shown._replace(help=not self.shown.help)

    def end(self) -> None:
        self.ended = True

    def press(self, key: str) -> None:
        """Do what a key does; one that does nothing is passed over."""
        if key.isdigit() and key != "0":
            self.player(int(key))
        elif key in ACTS:
            ACTS[key](self)

    def turn(self) -> None:
        """What has to be seen to from time to time: the next tempo of a track that climbs, the next bars of a long one."""
        place = self.session.place
        if self.wanted.climbing and place.rounds != self._rounds:
            self._rounds = place.rounds
            self.ask(faster(self.wanted, self.wanted.climbing // STEP_PERCENT), at_round=True)
        if self._needs_bars(place) and not self.planner.busy:
            self.planner.ask(Asked(self.wanted, place.bar))

    def _needs_bars(self, place: Place) -> bool:
        """Whether what is arranged of a long form comes to its end, or lies elsewhere."""
        take, bar = place.take, place.bar
        ends = take.last < len(take.bars) - 1 and bar + AHEAD >= take.last
        return bar < take.first or ends


ACTS: dict[str, Callable[[Live], None]] = {
    " ": Live.toggle,
    "k": Live.toggle,
    "left": lambda live: live.bars_on(-1),
    "right": lambda live: live.bars_on(1),
    "n": lambda live: live.section_on(1),
    "p": lambda live: live.section_on(-1),
    "up": lambda live: live.tempo(1),
    "down": lambda live: live.tempo(-1),
    "+": lambda live: live.key(1),
    "=": lambda live: live.key(1),
    "-": lambda live: live.key(-1),
    "[": Live.loop_from,
    "]": Live.loop_to,
    "0": Live.whole,
    "l": Live.climb,
    "<": lambda live: live.volume(-1),
    ">": lambda live: live.volume(1),
    "c": Live.click,
    "m": Live.melody,
    "t": Live.guide_tones,
    "s": Live.another,
    "home": lambda live: live.jump(live.wanted.loop[0] if live.wanted.loop else 0),
    "?": Live.help,
    "q": Live.end,
}


def _players(take: Take) -> tuple[str, ...]:
    roles = dict.fromkeys(s.role for s in take.streams)
    return tuple(role for role in roles if role != "click")


def _named(take: Take, bar: int) -> str:
    number = take.timeline.bars[bar].number
    return f"bar {number}" if number else "the ending"
