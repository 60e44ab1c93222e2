"""Charts that are right: each case file holds a chart and, in words, what it means."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings

from backing.chart.ast import Bar, Chart, Section
from backing.chart.parse import parse, parse_all
from backing.chart.values import key
from backing.ground.errors import ChartError
from backing.ground.pitch import Key, NoteName
from backing.ground.source import Span
from backing.ground.timebase import Meter
from tests.charts import BEATS, case_parts, cases, charts, dump, quarters
from tests.each import each

PARSE = cases("parse")
DEMOS = sorted((Path(__file__).parent.parent / "demo").glob("*.txt"))


def name(path: Path) -> str:
    return path.stem


@pytest.mark.parametrize("path", PARSE, ids=name)
def test_a_chart_means_what_its_case_says(path: Path) -> None:
    text, expected = case_parts(path)
    chart, found = parse_all(text, path.name)
    assert chart is not None, [d.render() for d in found]
    warnings = "".join(f"warning {d.code} {d.line}:{d.column}\n" for d in found)
    assert dump(chart) + warnings == expected


@each("path", PARSE + DEMOS, ids=name)
def test_places_bars_and_numbers_hold_together(path: Path) -> None:
    """Places are nested and rise, every bar is filled exactly, numbers count on, and reading twice gives the same."""
    text = case_parts(path)[0]
    chart = parse(text, path.name)
    hold_together(chart)
    assert parse(text, path.name) == chart


@given(charts())
@settings(max_examples=60, deadline=None)
def test_generated_charts_are_read_and_fill_every_bar(text: str) -> None:
    hold_together(parse(text))


def hold_together(chart: Chart) -> None:
    numbers = [bar.number for section in chart.sections for bar in section.bars]
    first = 0 if chart.header.pickup_beats else 1
    assert numbers == list(range(first, first + len(numbers)))
    for section in chart.sections:
        section_holds(section, chart)
    rising([section.span for section in chart.sections])
    rising([comment.span for comment in chart.comments])
    for written in chart.written:
        inside(written.value_span, written.span)
    names = {section.name for section in chart.sections}
    assert set(chart.order) == names
    assert len(chart.headings) == len(chart.order)


def section_holds(section: Section, chart: Chart) -> None:
    rising([line.span for line in section.lines])
    for line in section.lines:
        inside(line.span, section.span)
        assert line.bars
        rising([bar.span for bar in line.bars if bar.simile != 3])
        for bar in line.bars:
            inside(bar.span, line.span)
            bar_holds(bar, chart)


def bar_holds(bar: Bar, chart: Chart) -> None:
    assert bar.slots
    assert quarters(bar) == bar.length_q
    if bar.number == 0:
        assert bar.length_q == chart.header.pickup_beats * bar.meter.beat_q
    else:
        assert bar.length_q == bar.meter.length_q
    for notes in (bar.slots, bar.melody, bar.hits, bar.kicks):
        at = Fraction(0)
        for note in notes or ():
            assert note.start_q == at
            assert note.length_q > 0
            at += note.length_q
        assert not notes or at == bar.length_q
    for slot in bar.slots:
        inside(slot.span, bar.span)
    if not bar.simile:
        rising([slot.span for slot in bar.slots])
    for text in bar.texts:
        inside(text.span, bar.span)
        assert 0 <= text.at_q < bar.length_q


def inside(inner: Span, outer: Span) -> None:
    assert outer.start <= inner.start <= inner.end <= outer.end


def rising(spans: list[Span]) -> None:
    for before, after in pairwise(spans):
        assert before.end <= after.start


# --- facts from outside


@each(
    ("text", "fifths"),
    [("C", 0), ("G major", 1), ("A", 3), ("F# major", 6), ("C# major", 7), ("F", -1), ("Eb major", -3),
     ("Cb major", -7), ("Am", 0), ("E minor", 1), ("F# minor", 3), ("A# minor", 7), ("D minor", -1), ("Ab minor", -7)],
)  # fmt: skip
def test_keys_have_the_signatures_of_the_circle_of_fifths(text: str, fifths: int) -> None:
    """Signatures as any theory primer lists them (common practice)."""
    assert key(text).fifths == fifths


@each(
    ("german", "english"),
    [("B", "Bb major"), ("H moll", "B minor"), ("Fis-Dur", "F# major"), ("es moll", "Eb minor"),
     ("As dur", "Ab major"), ("Bb", "Bb major"), ("h moll", "B minor"), ("cis moll", "C# minor")],
)  # fmt: skip
def test_german_keys(german: str, english: str) -> None:
    """H is B natural and B is B flat; a small letter is minor (German practice)."""
    assert key(german, german=True).name == english


@each("meter", sorted(BEATS))
def test_one_item_a_beat_fills_every_meter(meter: str) -> None:
    """Rule 2: with '/' every item is one counted beat, as the meter's definition counts them."""
    beats, other = BEATS[meter]
    for count in {beats, other}:
        items = " ".join(["C", *["/"] * (count - 1)])
        chart = parse(f"meter: {meter}\n| {items} |\n")
        assert chart.sections[0].bars[0].slots[0].length_q == chart.settings.meter.length_q  # type: ignore[union-attr]


def test_meters_are_grouped_as_the_trade_groups_them() -> None:
    """5 = 3+2, 7/4 = 4+3, 7/8 = 2+2+3, others in twos and threes (common practice)."""
    groups = {
        "5/4": (3, 2),
        "7/4": (4, 3),
        "7/8": (2, 2, 3),
        "10/8": (3, 3, 2, 2),
        "9/8": (3, 3, 3),
    }
    for meter, expected in groups.items():
        chart = parse(f"meter: {meter}\n| C |\n")
        assert chart.settings.meter is not None
        assert chart.settings.meter.groups == expected


# --- behaviour that no case file shows


def test_names_are_german_where_the_caller_says_so_and_the_chart_does_not() -> None:
    assert parse("| H |\n", german=True).sections[0].bars[0].slots[0].chord.root == NoteName("B")  # type: ignore[union-attr]
    with pytest.raises(ChartError):
        parse("note-names: english\n| H |\n", german=True)


def test_a_byte_order_mark_is_no_character() -> None:
    chart = parse("\ufeffkey: G\n| G |\n")
    assert chart.settings.key == Key(NoteName("G"))
    assert chart.written[0].span == Span(0, 6)


def test_the_error_carries_all_mistakes_and_the_name_of_the_file() -> None:
    with pytest.raises(ChartError) as caught:
        parse("key: X\n| C F G |\n", "tune.txt")
    assert [d.code for d in caught.value.diagnostics] == ["E210", "E104"]
    assert str(caught.value).startswith("tune.txt:1:6: E210 ")


def test_a_value_that_is_wrong_counts_as_its_default_while_the_rest_is_checked() -> None:
    """A meter that cannot be read leaves 4/4, so four chords still fill a bar."""
    chart, found = parse_all("meter: 4\n| C F G C |\n| C F G |\n")
    assert chart is None
    assert [(d.code, d.line) for d in found] == [("E116", 1), ("E104", 3)]


def test_a_warning_does_not_stop_a_chart() -> None:
    chart, found = parse_all("| C2 |\n")
    assert chart is not None
    assert chart.warnings == found
    assert [d.code for d in found] == ["W504"]


def test_a_symbol_that_comes_again_is_reported_again() -> None:
    """One run names every place that has to be mended."""
    _, found = parse_all("| H7 | H7 |\n")
    assert [d.column for d in found] == [3, 8]


def test_charts_are_equal_whatever_their_places() -> None:
    assert parse("| C |\n") == parse("\n\n   | C |\n", "other.txt")


def test_the_styles_value_is_kept_with_its_place() -> None:
    """The name of a style is judged later; its place is needed then."""
    chart = parse("title: T\nstyle: ./own styles/mine.toml\n| C |\n")
    written = next(w for w in chart.written if w.name == "style")
    assert chart.settings.style == "./own styles/mine.toml"
    assert chart.source.text[written.value_span.start : written.value_span.end] == written.value


def test_meter_objects_are_shared() -> None:
    """Equal meters are one object, so that later stages may compare them cheaply."""
    chart = parse("meter: 7/8\n| C | 4/4 C | 7/8 C |\n")
    bars = chart.sections[0].bars
    assert bars[0].meter is bars[2].meter is Meter.of(7, 8)
