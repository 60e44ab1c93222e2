"""Charts whose `?` places are filled from their melody, and notes typed in quotes. Charts and tunes are invented."""

from __future__ import annotations

import json

import pytest

from backing.chart.parse import parse
from backing.commands.harmonise import Asked, as_json, find, looks_like_notes, report
from backing.ground.errors import ChartError, RequestError
from backing.harmonising.fill import filled, notes_as_chart, task_of
from backing.harmonising.harmonise import harmonise
from backing.harmonising.melody import phrase_ends
from backing.harmonising.wishes import EVERY, MANNERS, Wishes

CHART = """\
title: To be found            # a comment that stays
key: Bb major
meter: 3/4

[A]
|: Bbmaj7 ? <? | ? |1. (? F7) / ? :|2. ? |
melody: | D5 F5 G5 | F5 / / | D5 C5 A4 | Bb4 / / |

[B]
dynamics: p
| ?! | N.C. |
melody: | Eb5 / / | r r r |
"""

PICKUP = """\
pickup: 2
meter: 7/8 (2+2+3)
note-names: german
| ? | ? | ? |
melody: | H4 C5 | D5 / H4 / G4 / / | A4 / / / / / / |
"""


def found(
    text: str, every: str = "auto", manner: str = "colourful", again: bool = False
) -> list[str]:
    task = task_of(parse(text, wanted=True), every, again)
    return [
        filled(task, r)
        for r in harmonise(task.melody, Wishes(manner, every, results=4), task.places)
    ]


@pytest.mark.parametrize("manner", MANNERS)
def test_only_what_was_asked_for_is_written_into_the_text(manner: str) -> None:
    for text in found(CHART, manner=manner):
        chart = parse(text)
        assert "?" not in text
        assert "# a comment that stays" in text
        assert "|: Bbmaj7 " in text
        assert " F7) / " in text
        assert "| N.C. |" in text
        stop = chart.section("B").bars[0].slots[0]
        assert stop.stop
        assert chart.section("A").bars[0].slots[2].pushed


@pytest.mark.parametrize("every", EVERY)
def test_pickups_grouped_meters_and_german_names_are_filled(every: str) -> None:
    for text in found(PICKUP, every):
        chart = parse(text)
        assert chart.header.german
        assert "?" not in text
        assert all(slot.chord for bar in chart.sections[0].bars for slot in bar.slots)


def test_a_filled_chart_has_nothing_left_to_find_and_can_be_asked_again() -> None:
    text = found(CHART)[0]
    with pytest.raises(RequestError, match="every bar of this chart has its chord"):
        task_of(parse(text, wanted=True), "auto")
    others = found(text, again=True)
    assert any(other != text for other in others)
    assert all("| N.C. |" in other for other in others)


def test_a_chart_without_melody_says_where_to_write_one() -> None:
    with pytest.raises(
        RequestError, match="there is no melody in this chart; write it under the bars"
    ):
        task_of(parse("| ? | ? |\n", wanted=True), "auto")


def test_two_bars_that_are_repeated_by_a_sign_are_to_be_written_out() -> None:
    text = "| ? | ? | %2 |\nmelody: | C4 | D4 | E4 | F4 |\n"
    with pytest.raises(RequestError, match=r"bar 3: write the two bars of %2 out"):
        task_of(parse(text, wanted=True), "auto")


def test_a_chord_a_note_shares_beats_by_brackets() -> None:
    text = notes_as_chart("C4 (E4 G4) (/ A4) (G4 F4 E4 D4) | C4")
    for chart in found(text, "note"):
        bars = parse(chart).sections[0].bars
        starts = [float(slot.start_q) for slot in bars[0].slots]
        assert starts == [0.0, 1.0, 1.5, 2.5, 3.0, 3.25, 3.5, 3.75]


def test_notes_without_bar_lines_are_a_beat_each() -> None:
    assert (
        notes_as_chart("C4 D4 E4 F4", meter="3/4").splitlines()[-1]
        == "melody: | C4 D4 E4 | F4 / / |"
    )
    lead = notes_as_chart("G4 C5 D5 E5 C5", meter="4/4", pickup="1")
    assert lead.splitlines()[-1] == "melody: | G4 | C5 D5 E5 C5 |"
    assert parse(lead, wanted=True).sections[0].bars[0].number == 0


def test_notes_and_file_names_are_told_apart() -> None:
    assert looks_like_notes("Bb4 / r (C5 F#5) | D5")
    assert not looks_like_notes("waltz.txt")
    assert not looks_like_notes("A4.txt")


def test_the_report_names_what_was_assumed_and_gives_reasons_to_the_first() -> None:
    got = find("G4 A4 B4 G4 | F#4 A4 D4 / | G4", Asked(results=2))
    assert got.assumed[0] == "the meter is taken to be 4/4; say another with --meter"
    assert got.assumed[1].startswith("the tune is taken to be in G major; ")
    text = report(got)
    assert text.startswith("1.  cost ")
    assert text.count("G is the ") >= 1
    assert text.index("2.  cost") > text.index("at home in G major")


def test_the_report_as_json_counts_bars_and_beats_as_the_timeline_does() -> None:
    got = find("G4 A4 B4 G4 | F#4 A4 D4 / | G4", Asked(results=3, every="half", key="G"))
    given = json.loads(json.dumps(as_json(got)))
    assert given["key"] == "G major"
    assert [r["rank"] for r in given["results"]] == [1, 2, 3]
    chords = given["results"][0]["chords"]
    assert [(c["bar"], c["beat"]) for c in chords] == [
        (1, "1"),
        (1, "3"),
        (2, "1"),
        (2, "3"),
        (3, "1"),
        (3, "3"),
    ]
    assert set(chords[0]) == {"bar", "beat", "symbol", "melody_degree", "why"}
    assert {reason["about"] for reason in chords[1]["why"]} >= {"tune", "function", "bass"}


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (
            Asked(manner="jazzy"),
            "--manner jazzy: choose one of plain, diatonic, colourful, chromatic",
        ),
        (Asked(every="eighth"), "--every eighth: choose one of auto, bar, half, beat, note"),
        (
            Asked(bass="walking"),
            "--bass walking: choose one of free, falling, rising, still, cycle",
        ),
        (Asked(key="X"), "--key X: write a key such as Eb, F# minor or Cm"),
        (Asked(results=0), "--results 0: choose a number from 1 to 50"),
        (Asked(choose=0), "--choose 0: results are counted from 1"),
        (Asked(meter="4/5"), "--meter 4/5: write a meter such as 3/4, 6/8"),
        (Asked(keep="1=C"), "--keep 1=C: write bar, beat and chord, such as 4.3=Bb"),
        (Asked(keep="1.1=Cxx"), "--keep 1.1=Cxx: "),
        (Asked(keep="7.1=C"), "--keep 7.1=C: the melody has no such place; its bars are 1 to 1"),
        (Asked(avoid=("Zm",)), "--avoid Zm: "),
    ],
)
def test_a_wrong_wish_says_what_to_type_instead(asked: Asked, says: str) -> None:
    with pytest.raises(RequestError) as wrong:
        find("C4 D4 E4 F4", asked)
    assert str(wrong.value).startswith(says)


def test_mistakes_in_the_notes_are_told_as_in_a_chart() -> None:
    with pytest.raises(ChartError, match="<notes>"):
        find("C4 D4 E4 | F4 G4 A4 B4", Asked(meter="4/4"))


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "no melody was named; write notes in quotes"),
        ("r r / r", "there is no melody in this chart"),
    ],
)
def test_nothing_to_harmonise_says_so(typed: str, says: str) -> None:
    with pytest.raises(RequestError, match=says):
        find(typed, Asked())


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("C4 E4 H4 C4", "'H4' is no note"),
        ("C E G C", "the note 'C' has no octave"),
        ("C4 D4 E4 F4 G4 | A4", "this bar holds 5 notes"),
    ],
)
def test_words_that_are_nearly_notes_are_answered_as_notes(typed: str, says: str) -> None:
    with pytest.raises(ChartError) as wrong:
        find(typed, Asked())
    assert says in str(wrong.value)


def test_small_letters_are_notes() -> None:
    assert (
        find("c4 bb4 f#4 g4", Asked(key="G")).charts == find("C4 Bb4 F#4 G4", Asked(key="G")).charts
    )


def test_asking_for_more_results_leaves_the_first_ones_as_they_are() -> None:
    notes = "C5 A4 F#4 G4 | E4 Bb4 A4 D4 | F4 Eb4 D4 B4 | C5"
    few = find(notes, Asked(results=3, every="beat"))
    many = find(notes, Asked(results=12, every="beat"))
    assert few.charts == many.charts[:3]
    assert find(notes, Asked(results=1, choose=7, every="beat")).charts[6] == many.charts[6]


def test_the_chosen_chart_has_its_reasons() -> None:
    got = find("C4 E4 G4 C5 | D5 B4 G4 D4 | C4", Asked(results=3))
    text = report(got, choose=2)
    assert text.index("2.  cost") < text.index(" is the ") < text.index("3.  cost")


def test_a_chord_that_is_held_through_a_bar_is_written_once() -> None:
    for chart in find("C4 D4 E4 B3 | C4 / / /", Asked(every="beat", key="C")).charts:
        assert len(written(chart)[1]) == 1 or len(set(written(chart)[1])) > 1


HARMONISED = """\
key: C
| Cmaj7 | Dm7 G7 | Em7 A7 | Dm7 G7 |
melody: | E4 / G4 / | F4 A4 G4 F4 | G4 B4 A4 C#5 | D5 / / / |
| Cmaj7 | F6 Fm6 | Dm7 G7 | C6 |
melody: | E5 / C5 / | A4 F4 Ab4 F4 | D4 E4 F4 B4 | C5 / / / |
"""


def written(text: str) -> list[list[str]]:
    """The symbols of every bar."""
    return [
        [slot.chord.symbol for slot in bar.slots if slot.chord is not None]
        for section in parse(text).sections
        for bar in section.bars
    ]


@pytest.mark.parametrize("manner", MANNERS)
def test_asking_again_keeps_the_cadences_and_changes_what_lies_between(manner: str) -> None:
    for text in found(HARMONISED, manner=manner, again=True):
        bars = written(text)
        assert [bars[3][-1], bars[6][-1], bars[7][-1]] == ["G7", "G7", "C6"]
        assert text != HARMONISED
    first = written(found(HARMONISED, manner=manner, again=True)[0])
    changed = [old for old, new in zip(written(HARMONISED), first, strict=True) if old != new]
    assert len(changed) >= 4


GROUPED = """\
meter: 7/8 (2+2+3)
key: D minor
pickup: 2
| ? |
melody: | A4 C#5 |
|: ? | Gm / ? / ? / / |1. A7 / / / ? / / :|2. ? |
melody: | D5 / A4 / D5 E5 F5 | Bb4 / F5 / E5 D5 C#5 | E5 / C#5 / A4 / / | D5 / / / / / / |
"""


@pytest.mark.parametrize("every", EVERY)
def test_repeats_and_endings_in_grouped_meters_are_filled_around_what_is_written(
    every: str,
) -> None:
    for text in found(GROUPED, every):
        chart = parse(text)
        bars = chart.sections[0].bars
        assert "?" not in text
        assert "|: " in text
        assert ":|2." in text
        assert bars[0].number == 0
        assert written(text)[2][0] == "Gm"
        assert written(text)[3][0] == "A7"
        assert all(slot.chord for bar in bars for slot in bar.slots)


FERMATA = """\
key: C major

| ? ? ? ? | ? ? "fermata" ? ? | ? ? ? ? | ? ? ? / |
melody: | G4 A4 G4 E4 | F4 E4 D4 G4 | C5 B4 A4 G4 | F4 D4 C4 / |
"""


def test_a_fermata_ends_a_phrase() -> None:
    task = task_of(parse(FERMATA, wanted=True), "auto")
    assert task.melody.closes == {6}
    assert phrase_ends(task.melody) == {1, 3}
    whole = task_of(
        parse('| "fermata" ? | ? |\nmelody: | C4 / D4 E4 | C4 / / / |\n', wanted=True), "auto"
    )
    assert whole.melody.closes == {3}


def test_a_fermata_asks_a_hymn_for_a_chord_of_rest() -> None:
    with_it, without = (
        harmonise(task.melody, Wishes("diatonic", "beat"), task.places)[0].symbols
        for text in (FERMATA, FERMATA.replace('"fermata"', ""))
        for task in [task_of(parse(text, wanted=True), "auto")]
    )
    assert with_it[6].split("/")[0] in ("G", "G7")
    assert with_it != without
