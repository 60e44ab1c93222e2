"""The table of options: every row whole, every value read or refused, every option heard by those who take it."""

from __future__ import annotations

from fractions import Fraction

import pytest

from backing.chart.ast import Ending, EndingKind
from backing.commands import options as o
from backing.commands import values as v
from backing.ground.errors import RequestError
from tests.each import each

READ = (  # reader, text, value
    (v.tempo, "96", (Fraction(96), None)),
    (v.tempo, "75%", (None, Fraction(3, 4))),
    (v.tempo, " 87.5 % ", (None, Fraction(7, 8))),
    (v.bars, "9-16", (9, 16)),
    (v.bars, "9", (9, 9)),
    (v.bars, "9–12", (9, 12)),
    (v.length, "10:00", 600.0),
    (v.length, "1:30:00", 5400.0),
    (v.length, "45", 45.0),
    (v.count_in, "2", 2),
    (v.count_in, "off", 0),
    (v.ending, "Fade 6", Ending(EndingKind.FADE, 6)),
    (v.ending, "fade", Ending(EndingKind.FADE, 4)),
    (v.ending, "as written", Ending(EndingKind.AS_WRITTEN)),
    (v.roles, "drums, bass", ("bass", "drums")),
    (v.levels, "bass=-3, guitar 2 = +2.5", (("bass", -3.0), ("guitar 2", 2.5))),
    (v.choice("off", "backbeat"), "Backbeat", "backbeat"),
    (v.choice("Bb", "Eb"), "bb", "Bb"),
    (v.number(-40, -6), "-16.5", -16.5),
    (v.seed, "-3", -3),
)

REFUSED = (  # option, typed, words of the message
    ("capo", "13", "choose a number from 0 to 12"),
    ("tuned", "low", "choose a number from -12 to 12"),
    ("level", "bass", "write a player and by how many dB it is louder or softer, such as bass=-3"),
    ("level", "=3", "there is no such player"),
    ("level", "bas=3", "Did you mean 'bass'?"),
    ("level", "bass=loud", "choose a number from -40 to 12"),
    ("level", "bass=13", "choose a number from -40 to 12"),
    ("tempo", "fast", "such as 96 or 75%"),
    ("tempo", "0", "such as 96 or 75%"),
    ("tempo", "900%", "a percentage from 10% to 400%"),
    ("key", "H minor", "such as Eb"),
    ("key", "Fb", "such as Eb"),
    ("bars", "16-9", "such as 9-16"),
    ("length", "0", "such as 10:00"),
    ("length", "ten minutes", "such as 10:00"),
    ("count_in", "twelve", "or off"),
    ("ending", "rng", "Did you mean 'ring'"),
    ("ending", "fade 0", "choose one of"),
    ("click", "beat", "Did you mean 'beats'"),
    ("only", "drum", "there is no such player; choose among melody, solo, horns"),
    ("only", "drum", "Did you mean 'drums'"),
    ("transpose", "30", "choose a number from -24 to 24"),
    ("transpose", "two", "choose a number from -24 to 24"),
    ("choruses", "0", "choose a number from 1 to 200"),
    ("loudness", "0", "choose a number from -40 to -6"),
    ("loudness", "loud", "choose a number from -40 to -6"),
    ("a4", "400", "choose a number from 415 to 466"),
    ("a4", "nan", "choose a number from 415 to 466"),
    ("stems_as", "aiff", "choose one of wav, flac, ogg, mp3, m4a"),
    ("bits", "20", "choose one of 16, 24"),
    ("seed", "1.5", "write a whole number, such as 7"),
    ("for_", "B", "choose one of Bb, Eb, F"),
    ("paper", "a3", "choose one of a4, letter"),
)


def test_a_value_is_read() -> None:
    wrong = [(text, read(text)) for read, text, value in READ if read(text) != value]
    assert wrong == []


@each(("name", "text", "words"), REFUSED)
def test_a_wrong_value_says_what_to_type(name: str, text: str, words: str) -> None:
    with pytest.raises(RequestError) as wrong:
        o.options(**{name: text})
    assert str(wrong.value).startswith(f"{o.BY_NAME[name].flag} {text}: ")
    assert words in str(wrong.value)


def test_nothing_typed_is_the_chart_as_it_stands() -> None:
    assert o.options() == o.Options()
    typed = {option.name: option.usual for option in o.TABLE}
    assert o.options(**typed) == o.Options()


def test_an_option_that_there_is_not_is_named_with_the_nearest() -> None:
    with pytest.raises(RequestError, match=r"there is no option 'tmepo'\. Did you mean 'tempo'\?"):
        o.options(tmepo="96")


def test_a_field_that_there_is_not_is_refused() -> None:
    with pytest.raises(TypeError, match="no option has a field 'tmepo_bpm'"):
        o.Options().changed(tmepo_bpm=96)


@each(
    "pair",
    [
        {"key": "Eb", "transpose": 2},
        {"choruses": 2, "length": "3:00"},
        {"section": ["A"], "bars": "1-4"},
        {"only": ["bass"], "without": ["drums"]},
    ],
)
def test_two_options_that_say_the_same_thing_are_refused(pair: dict[str, object]) -> None:
    with pytest.raises(RequestError, match="give one of them"):
        o.options(**pair)


def test_every_row_of_the_table_has_its_fields_and_every_field_its_row() -> None:
    """A new option is a row in `TABLE` and a field in `Form`, `Band`, `Sound`, `Paper` or `Files`."""
    fields = [f"{part}.{name}" for name, part in o.PART_OF.items()]
    rows = [f"{row.part}.{name}" for row in o.TABLE for name in row.field.partition(".")[2].split()]
    assert [r for r in rows if r not in fields] == [], "rows without a field in Options"
    assert [f for f in fields if f not in rows] == [], "fields without a row in TABLE"
    assert len(set(rows)) == len(rows)


def test_what_is_usual_in_the_table_is_the_default_of_the_field() -> None:
    wrong = []
    for row in o.TABLE:
        if isinstance(row.usual, str):
            (name,) = row.field.partition(".")[2].split()
            default = getattr(getattr(o.Options(), row.part), name)
            if row.read(row.usual) != default:
                wrong.append(f"{row.flag}: {row.usual} in the table, {default} in Options")
    assert wrong == []


def test_every_option_has_help_and_an_example_that_changes_something() -> None:
    wrong = []
    for row in o.TABLE:
        typed = True if isinstance(row.usual, bool) else row.example
        if not row.help.endswith(".") or o.options(**{row.name: typed}) == o.Options():
            wrong.append(row.flag)
    assert wrong == []


def test_what_is_refused_names_options_parts_and_commands_that_there_are() -> None:
    from backing.commands.cli import COMMANDS

    known = {row.flag for row in o.TABLE} | set(o.Options._fields)
    assert set(o.REFUSED) <= {*COMMANDS, "python"}
    assert {name for words in o.REFUSED.values() for name in words} <= known
