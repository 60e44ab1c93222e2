"""The table of directions: a word in it is read, obeyed, printed and told of, and there is a case that shows it."""

from __future__ import annotations

from pathlib import Path

from backing.chart.ast import Chart, Text
from backing.chart.codes import Faults
from backing.chart.directions import FIRST_WORDS, bare, recognise
from backing.chart.parse import parse
from backing.chart.words import WORDS, Once, Takes, Word
from backing.ground.errors import ChartError
from backing.ground.source import Source, Span
from backing.ground.timebase import FOUR_FOUR
from backing.output.sheet.words import direction_words
from backing.timeline.model import Timeline
from backing.timeline.unroll import unroll

CASES = sorted((Path(__file__).parent / "cases" / "unroll").glob("*.txt"))
BEHIND = {Takes.NOTHING: "", Takes.FIGURE: " to 90", Takes.PLAYER: " guitar", Takes.FRET: " 5"}


def typed(word: Word) -> str:
    return word.name + BEHIND[word.takes]


def texts_of(chart: Chart) -> list[Text]:
    return [t for section in chart.sections for bar in section.bars for t in bar.texts]


def played(text: str) -> Timeline | None:
    """The timeline of a chart, None where it is refused."""
    try:
        return unroll(parse(text))
    except ChartError:
        return None


def obeyed() -> set[str]:
    """The words without which the chart of some case would be played otherwise, or could not be played."""
    found: set[str] = set()
    for path in CASES:
        text = path.read_text("utf-8").partition("-----\n")[0]
        for one in texts_of(parse(text)):
            name = one.direction.name if one.direction else ""
            if name and name not in found:
                start, end = one.span
                without = text[:start] + text[end:]
                if played(without) != played(text):
                    found.add(name)
    return found


def test_every_word_changes_what_is_played_in_some_case() -> None:
    assert sorted(WORDS.keys() - obeyed()) == [], "write a case in tests/cases/unroll for these"


def test_every_word_is_read_in_all_its_spellings() -> None:
    wrong = []
    for word in WORDS.values():
        spellings = [word.name, *word.also, *([word.sign] if word.sign else [])]
        for spelling in spellings:
            for text in {spelling, spelling.upper(), spelling.replace(".", "")}:
                faults = Faults(Source("", ""))
                found = recognise(text + BEHIND[word.takes], 0, 1, faults)
                if found is None or found.name != word.name or faults.found:
                    wrong.append(text)
    assert not wrong


def test_every_word_is_printed_and_told_of() -> None:
    """The sheet sets each in its manner, and no two lines of the manual say the same."""
    wrong = []
    for word in WORDS.values():
        found = recognise(typed(word), 0, 1, Faults(Source("", "")))
        text = Text(typed(word), FOUR_FOUR.beat_q, Span(0, 1), found)
        printed, manner, _ = direction_words(text, FOUR_FOUR, FOUR_FOUR)
        if not printed or not manner or not word.manual:
            wrong.append(word.name)
    assert not wrong
    assert len({word.manual for word in WORDS.values()}) == len(WORDS)


def test_every_effect_that_is_done_once_has_a_word() -> None:
    assert {e for word in WORDS.values() for e in word.effects if isinstance(e, Once)} == set(Once)


def test_words_without_quotes_are_known_by_their_first_word() -> None:
    """All ways to dot `D.C.`, and nothing that may begin a chord symbol alone."""
    assert {"d.c.", "dc", "d.c", "dc.", "d.s.", "ds", "rit", "rit.", "to", "a"} <= FIRST_WORDS
    for word in WORDS.values():
        if word.bare:
            assert word.name.split()[0].casefold() in FIRST_WORDS
            found = bare(f"{word.name} |", 0, len(word.name) + 2)
            assert found is not None
            assert found[0] == word.name
