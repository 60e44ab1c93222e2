"""Charts that nobody would write by hand: whatever parses fills every bar, in good order, in bounded time."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.ast import Ending, EndingKind
from backing.chart.parse import parse
from backing.ground.errors import ChartError
from backing.ground.pitch import Key
from backing.ground.timebase import TempoMap
from backing.timeline.form import Form
from backing.timeline.model import Timeline
from backing.timeline.passes import Gap, Ladder, Plan, passes
from backing.timeline.unroll import unroll

CHORDS = st.sampled_from(
    ["C", "Am7", "F#m7b5", "Bb13", "G7/B", "<D7", "E7!", "A=", "N.C.", "Dbmaj7"]
)
WORDS = st.sampled_from(
    ["rit.", "accel.", "a tempo", "rubato", "fermata", "break", "fill", "in 2", "half time",
     "tacet bass", "rit. to 70", "any words"]
)  # fmt: skip
JUMPS = st.sampled_from(["Segno", "Fine", "Coda", "To Coda", "D.C.", "D.S. al Coda", "D.C. al Fine"])  # fmt: skip
METERS = st.sampled_from(["4/4", "3/4", "6/8", "7/8 (2+2+3)", "2/2", "5/4"])
KEYS = st.sampled_from(["C", "F#", "Bb", "Em", "G# minor", "Db"])


@st.composite
def bar(draw: st.DrawFn, jumps: bool) -> str:
    text = ""
    if draw(st.integers(0, 9)) == 0:
        text += draw(METERS).split()[0] + " "
    if draw(st.integers(0, 5)) == 0:
        text += f'"{draw(JUMPS if jumps and draw(st.booleans()) else WORDS)}" '
    text += draw(CHORDS)
    if draw(st.integers(0, 7)) == 0:
        text += f' "{draw(WORDS)}"'
    return text


@st.composite
def music(draw: st.DrawFn, jumps: bool) -> str:
    bars = draw(st.lists(bar(jumps), min_size=1, max_size=5))
    body = " | ".join(bars)
    shape = draw(st.integers(0, 5))
    if shape == 0:
        return f"|: {body} :|"
    if shape == 1:
        return f"|: {body} |1. G7 :|2. C |"
    if shape == 2:
        return f"| {body} |1. G7 ||2-3. C ||last. F |]"
    if shape == 3:
        return f"|: {body} :| x3 {draw(bar(jumps))} |"
    return f"| {body} |"


@st.composite
def charts(draw: st.DrawFn) -> str:
    lines = [f"meter: {draw(METERS)}", f"tempo: {draw(st.integers(40, 260))}"]
    if draw(st.booleans()):
        lines.append(f"key: {draw(KEYS)}")
    for setting in ("capo: 3", "tuned: -2", "push: 16", "dynamics: p -> f", "clave: 2-3", "ending: tag",
                    "ending: rit", "ending: fade 4", "tempo: 90 -> 140"):  # fmt: skip
        name = setting.split(":")[0]
        if draw(st.integers(0, 4)) == 0 and not any(s.startswith(f"{name}:") for s in lines):
            lines.append(setting)
    names = draw(st.lists(st.sampled_from(["Intro", "A", "B", "Coda"]), min_size=1, max_size=4, unique=True))  # fmt: skip
    formed = draw(st.booleans())
    if formed:
        items = draw(st.lists(st.sampled_from(names), min_size=1, max_size=6))
        moved = [n + draw(st.sampled_from(["", "", "+2", "-3", "+6"])) for n in items]
        lines.append(f"form: ({' '.join(moved)}) x{draw(st.integers(1, 3))}")
    else:
        lines.append(f"choruses: {draw(st.integers(1, 3))}")
    for name in names:
        lines.append(f"[{name}]")
        if draw(st.integers(0, 4)) == 0:
            lines.append("tempo: 120 -> 80")
        if draw(st.integers(0, 4)) == 0:
            lines.append(f"key: {draw(KEYS)}")
        lines.append(draw(music(not formed)))
    return "\n".join(lines) + "\n"


def whole(text: str, request: Form) -> Timeline | None:
    """The timeline, or None for a chart that was refused with a diagnostic."""
    try:
        return unroll(parse(text), request)
    except ChartError:
        return None


requests = st.builds(
    lambda **asked: Form(**asked),  # hypothesis fills every field of a named tuple
    transpose=st.one_of(st.none(), st.integers(-12, 12)),
    choruses=st.one_of(st.none(), st.integers(1, 4)),
    tempo_percent=st.one_of(st.none(), st.just(Fraction(3, 5))),
    ending=st.one_of(st.none(), st.sampled_from([Ending(k, 4) for k in EndingKind])),
)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(charts(), requests)
def test_any_chart_fills_every_bar_without_gap_or_overlap(text: str, request: Form) -> None:
    timeline = whole(text, request)
    if timeline is None:
        return
    ends = Fraction(0)
    for played in timeline.bars:
        assert played.start_q == ends < played.end_q
        ends = played.end_q
    place = Fraction(0)
    for span in timeline.chords:
        assert span.start_q == place < span.end_q
        place = span.end_q
    assert place == ends == timeline.length_q
    assert all(b.sounds_q > a.sounds_q for a, b in pairwise(timeline.chords))
    assert all(abs(b.key.fifths) <= 7 for b in timeline.bars)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(charts(), requests)
def test_any_tempo_map_is_in_order_and_time_only_goes_forward(text: str, request: Form) -> None:
    timeline = whole(text, request)
    if timeline is None:
        return
    assert timeline.tempo[0].at_q == 0
    assert all(a.at_q < b.at_q for a, b in pairwise(timeline.tempo))
    assert all(a.us != b.us for a, b in pairwise(timeline.tempo))
    tempo = TempoMap(timeline.tempo)
    seconds = [tempo.exact_s(b.start_q) for b in timeline.bars]
    assert all(a < b for a, b in pairwise(seconds))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(charts(), st.integers(1, 5), st.integers(1, 5))
def test_any_chart_can_be_practised_in_any_key(text: str, on: int, off: int) -> None:
    timeline = whole(text, Form())
    if timeline is None:
        return
    plan = Plan(
        ladder=Ladder((Fraction(50), Fraction(100))),
        times=1,
        through=(Key.parse("Db"), Key.parse("B")),
        gap=Gap(on, off, "drums"),
    )
    for one in passes(timeline, plan):
        assert len(one.timeline.bars) == len(timeline.bars)
        assert one.timeline.length_q == timeline.length_q
        for before, after in zip(timeline.chords, one.timeline.chords, strict=True):
            if before.chord is not None and after.chord is not None:
                shift = (one.key.tonic.pc - timeline.key.tonic.pc) % 12
                assert after.chord.root.pc == (before.chord.root.pc + shift) % 12


def span(first: int, last: int) -> list[int]:
    return list(range(first, last + 1))


def directed(bars: int, marks: dict[int, str], choruses: int) -> list[int]:
    """The bars played of a chart with one chord a bar and a direction over some of them."""
    body = " | ".join(f'C "{marks[n]}"' if n in marks else "C" for n in span(1, bars))
    text = f"key: C\nchoruses: {choruses}\nending: as written\n| {body} |\n"
    return [b.number for b in unroll(parse(text)).bars]


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.integers(1, 30), min_size=4, max_size=4, unique=True), st.integers(1, 3))
def test_any_ds_al_coda_goes_to_the_sign_then_to_the_coda(places: list[int], choruses: int) -> None:
    """The rule of the handbooks, spelled out: to the D.S., from the sign to To Coda, from the coda to the end."""
    segno, leave, back, coda = sorted(places)
    marks = {segno: "Segno", leave: "To Coda", back: "D.S. al Coda", coda: "Coda"}
    expected = span(1, back) * choruses + span(segno, leave) + span(coda, 30)
    assert directed(30, marks, choruses) == expected


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.integers(1, 20), min_size=2, max_size=2, unique=True), st.integers(1, 3))
def test_any_dc_al_fine_goes_to_the_beginning_and_ends_at_fine(
    places: list[int], choruses: int
) -> None:
    fine, back = sorted(places)
    expected = span(1, back) * choruses + span(1, fine)
    assert directed(20, {fine: "Fine", back: "D.C. al Fine"}, choruses) == expected


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(1, 4), st.integers(1, 5)), min_size=1, max_size=8))
def test_any_row_of_repeats_plays_each_as_often_as_it_says(parts: list[tuple[int, int]]) -> None:
    """Parts of some bars, each played so many times (1 is no repeat)."""
    text, expected, number = "", [], 1
    for bars, times in parts:
        body = " | ".join("C" for _ in range(bars))
        text += f"|: {body} :| x{times}\n" if times > 1 else f"| {body} |\n"
        expected += span(number, number + bars - 1) * times
        number += bars
    timeline = unroll(parse(f"key: C\nending: as written\n{text}"))
    assert [b.number for b in timeline.bars] == expected


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(st.integers(1, 3), min_size=1, max_size=4), st.integers(1, 3))
def test_any_set_of_endings_is_played_in_turn(lengths: list[int], body: int) -> None:
    """|: body |1. :|2. :|3. … |: every time through takes its own ending."""
    bars = " | ".join("C" for _ in range(body))
    text, expected, number = f"|: {bars} ", [], body + 1
    for n, length in enumerate(lengths, 1):
        close = ":|" if n < len(lengths) else "||"
        text += f"|{n}. " + " | ".join("F" for _ in range(length)) + f" {close}"
        expected += span(1, body) + span(number, number + length - 1)
        number += length
    text = text.replace(":||", ":|")
    if len(lengths) == 1:
        text = f"|: {bars} |1. " + " | ".join("F" for _ in range(lengths[0])) + " :| C |"
        expected += [*span(1, body), body + lengths[0] + 1]
    timeline = unroll(parse(f"key: C\nending: as written\n{text}\n"))
    assert [b.number for b in timeline.bars] == expected
