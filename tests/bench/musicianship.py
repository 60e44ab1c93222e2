"""Print the figures of the band's musicianship: `python -m tests.bench.musicianship [CHARTS]` (200 by default)."""

from __future__ import annotations

import sys
from collections import Counter
from fractions import Fraction
from itertools import combinations
from statistics import mean

from backing.styles.find import find, names
from tests import ensemble, measures
from tests.band import DEMOS, ROOT, arranged, chart, demo, performed, player, prepared
from tests.generated import ii_v_i, tunes
from tests.test_drums import GHOSTED, ghost_to_accent
from tests.test_feel import slope, table
from tests.test_leader import FOUR, POP, density, keys_height, plan, rests, whole_rests
from tests.test_musicianship import (
    BACKBEAT,
    RHYTHM,
    STYLES,
    band_timing,
    half_bars,
    long,
    ride_ratio,
    walking,
)
from tests.test_phrases import ENOUGH, aaba


def show(name: str, value: object, wanted: str) -> None:
    shown = f"{value:.3f}" if isinstance(value, float) else str(value)
    print(f"{name:<58} {shown:>10}   {wanted}")


def harmony(count: int) -> None:
    music = [*(demo(p.stem) for p in DEMOS), *(arranged(t, s) for t, s in tunes(STYLES, count))]
    chords = missing = foreign = walked = right = others = wrong = low = strokes = below = held = 0
    for one in music:
        found, first = measures.harmony(one), measures.first_notes(one)
        chords += found.chords
        missing += len(found.missing)
        foreign += len(found.foreign)
        walked, right = walked + first.walking, right + first.walking_right
        others, wrong = others + first.others, wrong + len(first.wrong)
        low += sum(
            len(measures.too_low(p)) for p in measures.roles(one, ("keys", "strings", "horns"))
        )
        below += sum(len(measures.below_bass(one, role)) for role in ("keys", "strings", "guitar"))
        for part in measures.roles(one, ("guitar",)):
            for _, frets in measures.grips(part):
                strokes += 1
                held += measures.holdable(frets)
    show("charts", len(music), "")
    show("chords judged", chords, "")
    show("chords that lack what must sound", missing, "0")
    show("chords with a foreign note", foreign, "0")
    show("first bass note right, walking", right / walked, ">= 0.95")
    show("first bass note wrong, otherwise", wrong, f"0 of {others}")
    show("pairs below their low-interval limit", low, "0")
    show("strokes below the bass", below, "0")
    show("grips that a hand can hold", held / strokes, f"1 (of {strokes})")


def leading() -> None:
    for style in ("straight-ahead swing", "bossa nova"):
        for kind, minor in (("major", False), ("minor", True)):
            text = chart(ii_v_i(minor), meter="4/4", tempo=140, ending="as written")
            music = arranged(text, style)
            for role, most in (("keys", 4), ("guitar", 6)):
                pairs = measures.changes(player(music, role))
                name = f"{style}, ii-V-I in {kind}: {role}"
                show(
                    f"{name}, semitones a change",
                    mean(measures.move(a, b) for a, b in pairs),
                    f"<= {most}",
                )
                show(f"{name}, top note kept or by step", measures.top_kept(pairs), ">= 0.6")
            hands = measures.hand_moves(player(music, "guitar"))
            show(f"{style}, ii-V-I in {kind}: frets a change", float(mean(hands)), "<= 2.5")


def bass() -> None:
    line = walking()
    show("walking: approached within two semitones", line.approached / line.changes, ">= 0.65")
    show("walking: half steps among them", line.by_half_step / line.approached, "0.4 to 0.6")
    short = half_bars()
    show(
        "walking, two chords a bar: half steps", short.by_half_step / short.approached, "0.4 to 0.6"
    )
    show("walking: steps among moves", line.steps / line.moves, "0.55 to 0.75")
    show(
        "walking: widest leap, lowest, highest", f"{line.widest} {line.low} {line.high}", "12 28 55"
    )


def feel() -> None:
    for bpm, wanted in ((120, 2.2), (200, 2.0), (300, 1.0)):
        found = performed(chart(RHYTHM, meter="4/4", tempo=bpm, choruses=6), "straight-ahead swing")
        show(f"ride at {bpm}, long to short", ride_ratio(found, bpm), f"{wanted} +- 0.05")
    for style in ("straight-ahead swing", "rock eighths"):
        for role, (late, on, late_ms, spread_ms) in band_timing(style, 140).items():
            drift = late - late_ms * on
            show(f"{style}: {role}, mean in ms", float(late[on].mean()), f"{late_ms} +- 1")
            show(f"{style}: {role}, spread in ms", float(drift.std()), f"{spread_ms} +- 20 %")
            show(f"{style}: {role}, slope of the spectrum", slope(list(drift)), "-1.5 to -0.5")


def phrases() -> None:
    """Where figures change and fills come again, in every style."""
    worst, where, again, fills = 0.0, "", 0, 0
    for name in names():
        music = aaba(name)
        for role in {p.role for p in music.players} - {"click"}:
            found = measures.figure_changes(music, role)
            if found.total() >= ENOUGH and found[2] / found.total() > worst:
                worst, where = found[2] / found.total(), f"{name}, {role}"
        if any(p.role == "drums" for p in music.players):
            fills += len(measures.fills(music))
            again += len(measures.fills_again(music))
    show(f"changes in the third bar, most ({where})", worst, "<= 0.25")
    show("fills that come again within 16 bars or as one of two", again, f"0 of {fills}")


def beat_chords() -> None:
    """Charts with a chord on every beat, three seeds each."""
    together, leapt, kept, alike = [], [], [0, 0], []
    for path in sorted((ROOT / "tests" / "cases" / "band").glob("*.txt")):
        takes = [
            arranged(path.read_text("utf-8"), None, seed, wish={"plan": "flat"})
            for seed in (1, 2, 3)
        ]
        for one in takes:
            together.append(ensemble.struck_by_all(one))
            leapt.append(ensemble.leaps(player(one, "keys"), ensemble.beat_chords(one)))
            for role in ("keys", "guitar"):
                moves, same = ensemble.shapes_kept(player(one, role), one)
                kept = [kept[0] + moves, kept[1] + same]
        alike += [
            ensemble.alike(player(a, "keys"), player(b, "keys"), a)
            for a, b in combinations(takes, 2)
        ]
    show("chord a beat: keys, guitar, bass together, at most", max(together), "<= 0.4")
    show("chord a beat: wide moves of the top line, at most", max(leapt), "<= 0.1")
    show("chord a beat: bars of keys alike between seeds", mean(alike), "<= 0.3")
    show("chord a beat: shapes kept by half step", kept[1] / kept[0], ">= 0.8")


TUNE = "Am7 | Dm7 | Bm7b5 | E7 | Am6 | F7 | Bm7b5 | E7 | Cmaj7 | Fmaj7 | Dm7 | G7 | C | A7 | Dm7 | E7b9"


def together() -> None:
    """Every style: chords that two strike alike or apart, what rubs, lines of horns."""
    for style in names():
        meter = find(style).meters[0].full_name
        music = arranged(chart(TUNE, key="A minor", meter=meter, choruses=4), style)
        bars = len(music.timeline.bars)
        same = 100 * len(ensemble.doubled(music)) / bars
        wrong = len(ensemble.rubs(music)) + len(ensemble.apart(music))
        if same or wrong:
            show(f"{style}: doubled a hundred bars", same, "<= 5")
            show(f"{style}: rubs, and strokes apart", wrong, "0")
        if any(p.role == "horns" for p in music.players):
            horns = player(music, "horns")
            counts = ensemble.parts_of(horns)
            show(
                f"{style}: horns in one part or two",
                sum(n <= 2 for n in counts) / max(1, len(counts)),
                ">= 0.5",
            )
            show(f"{style}: bars in which horns rest", ensemble.resting(horns, music), ">= 0.33")


def ghosts() -> None:
    for style in GHOSTED:
        for dynamics in ("p", "mf", "f", "ff"):
            show(
                f"{style}, {dynamics}: ghost to accent", ghost_to_accent(style, dynamics), "<= 0.45"
            )


def variety() -> None:
    for style in ("straight-ahead swing", "jazz waltz", "fast swing"):
        music = long(style)
        show(
            f"{style}: commonest two-bar pair of the piano",
            measures.commonest_pair(music, ("keys",)),
            "<= 0.2",
        )
        show(
            f"{style}: bars of the piano three times running",
            measures.triples(music, ("keys",)),
            "0",
        )
    phrases()
    counts: Counter[tuple[str, Fraction]] = Counter()
    bars = 0
    for style in BACKBEAT:
        more, n = measures.struck(
            arranged(chart(RHYTHM, meter="4/4", choruses=2, ending="as written"), style)
        )
        counts.update(more)
        bars += n
    apart = [
        abs(counts[name, Fraction(row["place"])] / bars - float(row[name]))
        for row in table("backbeat.tsv")
        for name in measures.KIT
    ]
    show("backbeat drums, mean distance from the corpus", float(mean(apart)), "<= 0.12")


def leader() -> None:
    """The plan of tracks of four choruses and of a pop form."""
    tacet = differ = judged = 0
    horns: list[float] = []
    for style in names():
        ready = prepared(FOUR, style)
        if len(ready.style.parts) < 4:
            continue
        judged += 1
        tacet += bool(whole_rests(FOUR, style))
        found = {frozenset(rests(plan(FOUR, style, seed))) for seed in range(1, 6)}
        differ += len(found) >= 3
        if ready.style.part("horns") and "horns" not in ready.style.core:
            bars = sum(s.last - s.first + 1 for s in ready.timeline.sections if s.chorus)
            out = sum(b - a + 1 for _, p, a, b in rests(plan(FOUR, style)) if p == "horns")
            horns.append(out / bars)
    show("styles of four players and more", judged, "")
    show("a role tacet for a section, four choruses", tacet, f"{judged}")
    show("three plans and more of five seeds", differ, f"{judged}")
    show("horns rest, least share of the choruses", min(horns), ">= 0.333")
    for style in ("rock eighths", "sixteenth-note pop", "pop ballad"):
        music = arranged(POP, style)
        more = density(music, "Chorus") / density(music, "Verse")
        higher = keys_height(music, "Chorus") - keys_height(music, "Verse")
        show(f"{style}: strokes, chorus to verse", more, ">= 1.15, or")
        show(f"{style}: keys higher in the chorus", higher, ">= 2 semitones")


if __name__ == "__main__":
    leader()
    harmony(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
    leading()
    bass()
    beat_chords()
    together()
    feel()
    ghosts()
    variety()
