"""A groove is allowed to be a groove: how long a figure is held, where it changes, and that no fill is the last one again."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from functools import cache
from itertools import pairwise

import pytest

from backing.band.model import Arrangement
from backing.band.players.common import BarPlan, Brief
from backing.band.players.fills import fresh_fill
from backing.band.players.patterns.altered import LESS, MORE, one_more_or_less, without_one
from backing.band.players.patterns.choose import stretch
from backing.band.players.patterns.fillings import due, fill_due
from backing.band.players.patterns.lay import Chosen
from backing.harmony.reader import read
from backing.styles.find import find, names
from backing.styles.load import load_text
from backing.styles.model import Pattern, Where
from tests import measures
from tests.band import arranged, player, timeline
from tests.briefs import FOUR, brief, part, pattern, style
from tests.each import each
from tests.mixes import some
from tests.test_drums import groove

A = "Cmaj7 | Am7 | Dm7 | G7 | Em7 | A7 | Dm7 | G7"
B = "Fmaj7 | Fm7 | Em7 | A7 | Dm7 | G7 | Cmaj7 | G7"
GROOVES = ("country train beat", "reggae one drop", "straight-ahead swing", "funk")
ENOUGH = 12  # changes of which a share can be told


@cache
def aaba(name: str, seed: int = 1) -> Arrangement:
    """Three choruses of 32 bars."""
    head = (
        f"meter: {find(name).meters[0].full_name}\nchoruses: 3\nform: A A B A\nending: as written\n"
    )
    return arranged(f"{head}[A]\n| {A} |\n[B]\n| {B} |\n", name, seed)


# -- where figures change -----------------------------------------------------------------------------------


def third_bars(name: str) -> None:
    """No player changes its figure by habit in the third bar of a four-bar phrase (common practice)."""
    for role in {p.role for p in aaba(name).players} - {"click"}:
        found = measures.figure_changes(aaba(name), role)
        figures = find(name).part(role)  # a bass that walks up by chance has none
        patterned = figures is not None and set(figures.plays.values()) == {"pattern"}
        if found.total() >= ENOUGH and patterned:
            assert found[2] <= 0.25 * found.total(), (role, found)


def other_fills(name: str) -> None:
    """Fills differ from the last two, and none comes again stroke for stroke within sixteen bars (common practice)."""
    if find(name).part("drums"):
        assert not measures.fills_again(aaba(name))


@each("name", GROOVES)
def test_no_figure_changes_by_habit_in_the_third_bar_of_a_phrase(name: str) -> None:
    third_bars(name)


@each("name", GROOVES)
def test_a_fill_is_not_one_of_those_before_it(name: str) -> None:
    assert len(measures.fills(aaba(name))) >= 10
    other_fills(name)


@pytest.mark.slow
@pytest.mark.parametrize("name", some([n for n in names() if n not in GROOVES]))
def test_phrases_and_fills_of_every_style(name: str) -> None:
    third_bars(name)
    other_fills(name)


@each(
    ("name", "role"),
    [("country train beat", "guitar"), ("reggae one drop", "keys"), ("reggae one drop", "bass")],
)
def test_a_groove_holds_for_eight_bars(name: str, role: str) -> None:
    """Boom-chick and one drop go on for the eight bars of a section, but for a stroke and the bar that leads on."""
    music = aaba(name)
    bars = [set(row) for row in measures.rhythm_of_bars(music, (role,))]
    for section in music.timeline.sections[:-1]:
        whole = bars[section.first - 1 : section.last]
        eight = whole[next((n for n, bar in enumerate(whole) if bar), 0) :]  # behind a drop
        length = 2 if len(eight) > 1 and len(eight[0] ^ eight[1]) > 1 else 1
        others = [
            bar for i, bar in enumerate(eight[:-1]) if bar and len(bar ^ eight[i % length]) > 1
        ]
        assert len(others) <= 1, (section, eight)


def test_a_guitar_in_four_goes_on() -> None:
    """Four to the bar is a pulse and no conversation (common practice): a figure stays for a section."""
    music = aaba("straight-ahead swing")
    guitar = player(music, "guitar").notes
    figures = []
    for section in music.timeline.sections:
        bars = music.timeline.bars[section.first - 1 : section.last - 1]
        words = [
            n.why.words.split(",")[0]
            for n in guitar
            if bars and bars[0].start_q <= n.start_q < bars[-1].end_q
        ]
        figures.append(set(words))
    assert any(figures)
    assert all(len(words) <= 2 for words in figures), "its own, and one that leads on"


@each(("hold", "first"), [(8, {0, 8}), (16, {0}), (12, {0, 12}), (1 << 16, {0})])
def test_a_stretch_begins_with_a_phrase(hold: int, first: set[int]) -> None:
    assert {stretch(_told(16, hold), n) for n in range(16)} == first


def test_in_jazz_a_stretch_has_two_to_four_bars() -> None:
    lengths: Counter[int] = Counter()
    for seed in range(1, 30):
        told = _told(16, 4, seed)
        starts = [stretch(told, n) for n in range(16)]
        assert all(a <= n < a + 4 for n, a in enumerate(starts))
        lengths.update(Counter(starts).values())
    assert set(lengths) == {1, 2, 3, 4}, "what is left of a phrase after three bars is one"
    assert lengths[4] > lengths[2] > lengths[3] - 20


def _told(bars: int, hold: int, seed: int = 1) -> Brief:
    """A section of so many bars in phrases of four, in a style that holds a figure for `hold` bars."""
    keys = part("keys", "acoustic piano", [pattern("x . . .")])
    plans = tuple(BarPlan(3.0, 0.5, i % 4, i % 4 == 3, left=bars - i) for i in range(bars))
    made = brief(keys, [read("C7")] * bars, seed=seed)
    return made._replace(style=style(keys, swing=False)._replace(hold=hold), plans=plans)


def test_a_style_says_how_long_it_holds_and_jazz_holds_less_by_itself() -> None:
    assert find("country train beat").hold == find("reggae one drop").hold == 8
    assert find("straight-ahead swing").hold == find("jazz waltz").hold == 4
    text = 'about = "A."\nsource = "test"\nhold = 2\nmeters = ["4/4"]\ntempo = { low = 60, usual = 100, high = 200 }\n'
    keys = '[keys]\ninstrument = "acoustic piano"\n[[keys.pattern]]\nname = "one"\nlines.chord = "x . . ."\n'
    assert load_text(text + keys, "test").hold == 2


# -- a stroke more or less ----------------------------------------------------------------------------------


def altered(text: str, repeats: bool = False, kind: str = "chord") -> set[str]:
    """What a bar is changed into over many bars, as text of its places in eighths and marks."""
    written = pattern(text, kind=kind)
    if kind == "bass":
        written = Pattern("test", FOUR, 1, "mf", Where.TIME, 1.0, {"bass": written.lines["chord"]})
    told = _told(96, 8)
    told = told._replace(style=told.style._replace(repeats=repeats))
    found = one_more_or_less(told, [Chosen(written, i % written.bars) for i in range(96)])
    rows = set()
    for one in found:
        assert one is not None
        (line,) = one.pattern.lines.values()
        cells = [(i + c.at_q, c.mark) for i, p in enumerate(line[0]) for c in p.cells]
        row = " ".join(f"{float(at):g}{mark}" for at, mark in cells)
        assert one.pattern.name == "test" + (
            MORE if len(cells) > _count(written) else LESS if len(cells) < _count(written) else ""
        )
        rows.add(row)
    return rows


def _count(written: Pattern) -> int:
    (line,) = written.lines.values()
    return sum(len(pulse.cells) for pulse in line[0])


@each(
    ("text", "kind", "rows"),
    [
        # a strum: an up-stroke behind a down-stroke, or one up-stroke left out; the accents stay
        ("d. Du d. Du", "strings", {"0d 1D 1.5u 2d 3D 3.5u", "0d 0.5u 1D 1.5u 2d 3D 3.5u", "0d 1D 1.5u 2d 2.5u 3D 3.5u", "0d 1D 2d 3D 3.5u"}),
        # eighths without a gap are a pulse, picked strings a figure
        ("dd Dd dd Dd", "strings", {"0d 0.5d 1D 1.5d 2d 2.5d 3D 3.5d"}),
        ("5 4 3 4", "strings", {"05 14 23 34"}),
        ("X= = . .X", "chord", {"0X 3.5X"}),
        # the bass repeats a note before the next one
        ("1 . 5 1", "bass", {"01 25 31", "01 0.51 25 31", "01 25 2.55 31", "01 25 31 3.51"}),
    ],
)  # fmt: skip
def test_a_held_figure_has_now_and_then_a_stroke_more_or_less(
    text: str, kind: str, rows: set[str]
) -> None:
    assert altered(text, kind=kind) == rows


def test_a_machine_and_a_groove_that_runs_on_change_no_stroke() -> None:
    assert len(altered("d. Du d. Du", kind="strings", repeats=True)) == 1
    for name in ("samba", "second line", "salsa"):
        words = {
            n.why.words for p in aaba(name).players if p.role in ("bass", "keys") for n in p.notes
        }
        assert not [w for w in words if MORE in w or LESS in w], name


def test_no_two_bars_running_are_changed() -> None:
    told = _told(400, 8)
    written = pattern("d. Du d. Du", kind="strings")
    found = one_more_or_less(told, [Chosen(written, 0)] * 400)
    changed = [one is not None and one.pattern is not written for one in found]
    assert sum(changed) > 40
    assert not [1 for a, b in pairwise(changed) if a and b]


def test_a_country_bass_does_not_walk_up_in_two_bars_running() -> None:
    for seed in (1, 2, 3):
        notes = player(aaba("country train beat", seed), "bass").notes
        bars = sorted({int(n.start_q // 4) for n in notes if "walk-up" in n.why.words})
        assert len(bars) > 8
        assert not [bar for bar in bars if bar + 1 in bars and (bar + 1) % 8], "but over a border"


def test_a_chord_sounds_on_where_its_repetition_is_left_out() -> None:
    told = _told(96, 8)
    written = pattern("x= =x x. xx")
    found = one_more_or_less(told, [Chosen(written, 0)] * 96)
    lines = [
        one.pattern.lines["chord"][0] for one in found if one and one.pattern.name.endswith(LESS)
    ]
    first = {line[0].cells[0].length_q for line in lines if len(line[1].cells) == 0}
    assert first == {Fraction(2)}, "up to the third beat"


# -- fills --------------------------------------------------------------------------------------------------


def test_fills_are_due_at_the_end_of_eights_and_sections() -> None:
    tune = timeline(
        f"pickup: 1\nmeter: 4/4\nending: as written\nform: A B\n[A]\n| C | {A} | {A} |\n[B]\n| C | F | G |\n"
    )
    assert list(due(tune)) == [9, 17, 20]
    assert [bar for bar in range(12) if fill_due(bar, 12)] == [7, 11]


def test_made_up_fills_differ_from_the_four_before_them() -> None:
    for kit in ("toms", "snare"):
        for level in (1.0, 3.0, 4.5):
            row = [fresh_fill(FOUR, level, False, kit, (1, "drums"), n) for n in range(40)]
            shapes = [frozenset((h.at_q, h.drum) for h in made) for made in row]
            assert not [n for n in range(40) if shapes[n] in shapes[max(0, n - 4) : n]], (
                kit,
                level,
            )
            assert shapes[30] == frozenset(
                (h.at_q, h.drum) for h in fresh_fill(FOUR, level, False, kit, (1, "drums"), 30)
            )


def test_a_fill_that_comes_again_lacks_a_stroke_and_each_time_another() -> None:
    own = groove({"snare": ". . xx x.", "kick": "x . x ."}, name="mine", where=Where.PHRASE_END)
    row = [without_one(own, n) for n in range(4)]
    assert row[0] is own
    assert len({str(one.lines["snare"]) for one in row[:3]}) == 3
    assert {str(one.lines["kick"]) for one in row} == {str(own.lines["kick"])}
    assert str(row[3].lines) == str(own.lines)


def test_an_edited_bar_leaves_the_other_fills_alone() -> None:
    text = f"meter: 4/4\nchoruses: 2\nending: as written\n[A]\n| {A} |\n[B]\n| {B} |\n"
    one, other = (
        player(arranged(t, "rock eighths"), "drums").notes
        for t in (text, text.replace("Fm7", "F#m7b5 B7", 1))
    )
    here = [n for n in one if not 36 <= n.start_q < 40]
    assert [n for n in here if n.start_q % 32 >= 28] == [n for n in other if n.start_q % 32 >= 28]
