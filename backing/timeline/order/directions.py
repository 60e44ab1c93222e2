"""The directions that steer the order of play: D.C., D.S., Segno, Coda, To Coda, Fine.

Conventions: they are obeyed in the last chorus only. Segno and Coda stand at the start of the bar that carries them; To
Coda, Fine, D.C. and D.S. act at its end, after the repeats that end there. After a D.C. or D.S. repeats are not taken
and last endings are played, but a coda has its own repeats. To Coda and Fine without a D.C. or D.S. act the last time
they are reached. Each jump is taken once, so no form is endless. Sources: order of play as any notation handbook has
it; To Coda and Fine without a D.C., common practice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from backing.chart.codes import CODES
from backing.chart.words import JUMPS, MARKS, ORDER, Jump
from backing.ground.errors import ChartError
from backing.ground.source import Diagnostic
from backing.timeline.order.items import Reader, Step

BACK = frozenset(JUMPS)
STEERING = ORDER - {"Segno"}  # a Segno alone changes nothing


@dataclass(slots=True, eq=False, repr=False)
class Steering:
    """Plays a form with its jumps. `left_early` tells afterwards that Fine or a coda ended it."""

    reader: Reader
    left_early: bool = False
    taken: set[Step] = field(default_factory=set)
    sent: Jump | None = None  # the last jump that was taken
    in_coda: bool = False

    def runs(self, choruses: int) -> Iterator[tuple[int, Iterable[Step]]]:
        """Runs of bars without a jump, each with the number of its chorus."""
        reader = self.reader
        yield 0, reader.steps(0, reader.start, 0, last=False)
        for chorus in range(1, choruses):
            yield chorus, self._early(chorus)
        jumps = reader.carries(BACK)
        end = len(reader.items)
        run = list(reader.steps(reader.start, end, choruses, last=not jumps))
        while True:
            length, target = self._next(run, jumps)
            yield choruses, run[:length]
            if target is None:
                return
            run = list(
                reader.steps(
                    target.item,
                    end,
                    choruses,
                    last=True,
                    repeats=self.in_coda,
                    from_bar=target.bar,
                )
            )

    def _early(self, chorus: int) -> Iterator[Step]:
        """A chorus before the last: up to the D.C. or D.S., and never into the coda."""
        reader = self.reader
        steps = list(reader.steps(reader.start, reader.stop, chorus, last=False))
        for i, step in enumerate(steps):
            names = reader.names(step)
            if "Coda" in names and not self._jump_ahead(steps, i):
                return
            yield step
            if not BACK.isdisjoint(names) and _leaves(steps, i):
                return

    def _jump_ahead(self, steps: Sequence[Step], i: int) -> bool:
        """True when a D.C. or D.S. that was not taken yet lies ahead."""
        return any(
            s not in self.taken and not BACK.isdisjoint(self.reader.names(s)) for s in steps[i:]
        )

    def _next(self, run: Sequence[Step], jumps: bool) -> tuple[int, Step | None]:
        """How many bars of a run are played, and where play goes on (None: the end)."""
        for i, step in enumerate(run):
            names = self.reader.names(step)
            if not names:
                continue
            if "Coda" in names and not self.in_coda and not self._jump_ahead(run, i):
                return i, None  # the coda is reached by its jump alone
            reached = not jumps and not any(
                names & {"Fine", "To Coda"} & self.reader.names(later) for later in run[i + 1 :]
            )
            if "Fine" in names and (reached or (self.sent and self.sent.until != "To Coda")):
                self.left_early = True
                return i + 1, None
            sent = self.sent is not None and self.sent.until != "Fine"
            if "To Coda" in names and not self.in_coda and (reached or sent):
                self.left_early = self.in_coda = True
                return i + 1, self._coda(step)
            jump = next(iter(names & BACK), None)
            if jump is not None and step not in self.taken and _leaves(run, i):
                self.taken.add(step)
                self.sent = JUMPS[jump]
                return i + 1, self._target(jump, step)
        return len(run), None

    def _coda(self, step: Step) -> Step:
        """The bar marked Coda, or the start of a section of that name."""
        found = self.reader.find("Coda")
        if found is not None:
            return found
        for index, item in enumerate(self.reader.items):
            if item.section.casefold() == "coda":
                return Step(index, 0)
        raise self._missing("To Coda", "Coda", step)

    def _target(self, jump: str, step: Step) -> Step:
        """Where a D.C. or D.S. leads; its Fine or To Coda must be there too."""
        to, until = JUMPS[jump]
        if until and not self.reader.carries(frozenset({until})):
            raise self._missing(jump, until, step)
        if not to:
            return Step(0, 0)
        found = self.reader.find(to)
        if found is None:
            raise self._missing(jump, to, step)
        return found

    def _missing(self, jump: str, mark: str, step: Step) -> ChartError:
        bar = self.reader.bars[self.reader.items[step.item].section][step.bar]
        span = next(t.span for t in bar.texts if t.direction and t.direction.name == jump)
        sentence, hint = CODES["E331"]
        message = sentence.format(name=jump, marks=f"a {mark}")
        hint = hint.format(places=f'"{mark}" over the bar {MARKS[mark].where}')
        return ChartError([Diagnostic("E331", message, hint, span, self.reader.chart.source)])


def _leaves(steps: Sequence[Step], i: int) -> bool:
    """True when the bar of step `i` is not played again before its section is left: repeats come first."""
    step = steps[i]
    for later in steps[i + 1 :]:
        if later.item != step.item:
            return True
        if later.bar == step.bar:
            return False
    return True
