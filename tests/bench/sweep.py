"""What must hold of any track, in figures: `python -m tests.bench.sweep [CHARTS]` (200 made by rule, every style in turn).

The demos, the charts with a chord on every beat (`tests/cases/band`) and charts made by rule are arranged with the
leader's plan, and counted together by style; plans alone are made for five seeds. The worst style of a figure is named.
"""

from __future__ import annotations

import sys
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from backing.band.model import Arrangement, Player
from backing.ground.roles import role_of
from backing.styles.find import find, names
from tests import ensemble, measures
from tests.band import DEMOS, ROOT, arranged, demo, player, prepared
from tests.bench.musicianship import show
from tests.generated import tunes
from tests.test_leader import plan, rests
from tests.test_phrases import ENOUGH

BEATS = sorted((ROOT / "tests" / "cases" / "band").glob("*.txt"))
CHORUSES = "choruses: 2\n"
QUICK = 0.75  # of the chords of a chart with a chord on every beat, which pushes and rests leave some out of
LEAST_MOVES = 40  # steps into a chord of which a share can be told


class Counts(NamedTuple):
    """Counts by style, and by style and player; `told` holds what should not be there."""

    bars: Counter[str]
    doubled: Counter[str]
    phrases: defaultdict[tuple[str, str], Counter[int]]
    horns: defaultdict[str, list[int]]
    walks: defaultdict[str, measures.Walk]
    together: dict[str, float]
    leaps: list[float]
    told: defaultdict[str, list[str]]


def charts(count: int) -> Iterator[tuple[str, Arrangement]]:
    """Every track with the name that it is told by."""
    for path in DEMOS:
        yield path.stem, demo(path.stem)
    for path in BEATS:
        for seed in (1, 2, 3):
            yield path.stem, arranged(path.read_text("utf-8"), None, seed)
    for number, (text, style) in enumerate(tunes(tuple(names()), count)):
        yield f"generated {number}", arranged(CHORUSES + text, style)


def counted(count: int) -> Counts:
    """All charts counted."""
    found = Counts(
        Counter(), Counter(), defaultdict(Counter), defaultdict(list), defaultdict(measures.Walk),
        {}, [], defaultdict(list),
    )  # fmt: skip
    for name, music in charts(count):
        _count(found, name, music)
    return found


def _count(found: Counts, name: str, music: Arrangement) -> None:
    style = music.style.name
    found.bars[style] += len(music.timeline.bars)
    if not music.style.doubles:
        found.doubled[style] += len(ensemble.doubled(music))
    for what, rows in (
        ("colours that rub", ensemble.rubs(music)),
        ("chords struck apart", ensemble.apart(music)),
        ("fills that come again", measures.fills_again(music) if _kit(music) else []),
    ):
        found.told[what] += [f"{style}, {name}: {row}" for row in rows]
    for role in {p.role for p in music.players} - {"click"}:
        figures = music.style.part(role)
        if figures is not None and set(figures.plays.values()) == {"pattern"}:
            found.phrases[style, role].update(measures.figure_changes(music, role, alike=True))
        if role_of(role).name == "horns" and _blown(player(music, role)):
            found.horns[style] += ensemble.parts_of(player(music, role))
    bass = music.style.part("bass")
    if bass is not None and "walking" in bass.plays.values():
        found.walks[style].add(measures.walk(music))
    quick = len(ensemble.beat_chords(music)) >= QUICK * len(music.timeline.chords)
    if quick and _has(music, "keys", "guitar", "bass"):
        found.together[f"{style}, {name}"] = ensemble.struck_by_all(music)
        found.leaps.append(ensemble.leaps(player(music, "keys"), ensemble.beat_chords(music)))


def _blown(horns: Player) -> bool:
    """Whether horns are brass or reeds; a bandoneon plays chords (General MIDI: 56 to 79 from 0)."""
    return all(56 <= p.part.instrument.program < 80 for p in horns.parts)


def _kit(music: Arrangement) -> bool:
    return _has(music, "drums")


def _has(music: Arrangement, *roles: str) -> bool:
    return set(roles) <= {p.role for p in music.players}


def worst(name: str, shares: Mapping[str, float], wanted: str, limit: float) -> None:
    """The greatest share, and all that lie above a limit."""
    if not shares:
        return
    where = max(shares, key=lambda key: shares[key])
    show(f"{name} ({where})", shares[where], wanted)
    for over in sorted(shares):
        if shares[over] > limit:
            print(f"    {over}: {shares[over]:.2f}")


def played(count: int) -> None:
    """What the notes show."""
    found = counted(count)
    show("bars", sum(found.bars.values()), f"{len(found.bars)} styles")
    for what in ("colours that rub", "chords struck apart", "fills that come again"):
        rows = found.told[what]
        show(what, len(rows), "0")
        for row in rows[:20]:
            print(f"    {row}")
    doubled = {s: 100 * n / found.bars[s] for s, n in found.doubled.items()}
    worst("chords doubled a hundred bars", doubled, "<= 5", 5)
    thirds = {
        f"{style}, {role}": row[2] / row.total()
        for (style, role), row in found.phrases.items()
        if row.total() >= ENOUGH
    }
    worst("changes in the third bar of a phrase", thirds, "<= 0.25", 0.25)
    chords = {s: sum(n > 2 for n in row) / len(row) for s, row in found.horns.items() if row}
    worst("strokes of horns in three parts and more", chords, "<= 0.5", 0.5)
    for style, walk in sorted(found.walks.items()):
        if walk.approached >= LEAST_MOVES:
            share = walk.by_half_step / walk.approached
            show(f"{style}: half steps among {walk.approached} steps", share, "0.4 to 0.6")
    mean = sum(found.together.values()) / len(found.together)
    show("a chord a beat: all strike, mean", mean, "<= 0.4")
    worst("a chord a beat: all strike", found.together, "<= 0.4", 0.4)
    show("a chord a beat: wide moves on top, mean", sum(found.leaps) / len(found.leaps), "<= 0.1")


def planned(count: int) -> None:
    """What the leader's plans show, four choruses of every chart."""
    judged = tacet = differ = flat = 0
    few: list[str] = []
    for text, style in tunes(tuple(names()), count):
        text = "choruses: 4\n" + text
        if len(find(style).parts) < 4:
            continue
        judged += 1
        bars = [s.last - s.first for s in prepared(text, style).timeline.sections]
        plans = [plan(text, style, seed) for seed in range(1, 6)]
        tacet += any((a, b) == (0, bars[n]) for n, _, a, b in rests(plans[0]))
        different = len({frozenset(rests(one)) for one in plans})
        differ += different >= 3
        if different < 3:
            few.append(style)
        flat += any(s.decisions or s.rests for s in plan(text, style, plan="flat").sections)
    show("four choruses, four players and more", judged, "")
    show("a role tacet for a whole section", tacet, str(judged))
    show("entries differ in three and more of five seeds", differ, str(judged))
    print(f"    fewer: {', '.join(sorted(set(few)))}")
    show("a flat plan with anything decided", flat, "0")


def harmony(count: int) -> None:
    """What must sound does and nothing foreign does, everybody playing."""
    chords = 0
    faults: list[str] = []
    for text, style in tunes(tuple(names()), count):
        found = measures.harmony(arranged(text, style, wish={"plan": "flat"}))
        chords += found.chords
        faults += [*found.missing, *found.foreign]
    show(f"of {chords} chords, lacking or foreign", len(faults), "0")
    for row in faults[:30]:
        print(f"    {row}")


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    planned(wanted)
    played(wanted)
    harmony(wanted)
