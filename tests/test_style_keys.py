"""Every key of a style file: told in the template, shown on the style's page, heard, and refused when mistyped."""

from __future__ import annotations

import re
from functools import cache

import pytest

from backing.band.arrange import arrange
from backing.chart.parse import parse
from backing.commands.preparing import usual_tempo
from backing.ground.errors import StyleError
from backing.performance.perform import perform
from backing.styles import shelf
from backing.styles.cells import MARKS
from backing.styles.load import IDEA_KEYS, KEYS, load_text
from backing.styles.model import Energy, Where
from backing.styles.parts import DRUM_PATTERN_KEYS, PART_KEYS
from backing.styles.show import page
from backing.timeline.frame import Close
from backing.timeline.unroll import unroll
from tests.each import each

TEMPLATE = (shelf.own_folder() / "_template.toml").read_text("utf-8")

BASE = """\
about = "A."
source = "test"
meters = ["4/4"]
tempo = { low = 60, usual = 120, high = 200 }

[bass]
instrument = "finger bass"
[[bass.pattern]]
name = "one"
lines.bass = "1 . 5 ."
[[bass.pattern]]
name = "two"
lines.bass = "1 1 5 5"

[keys]
instrument = "organ"
settings = { voicing = "rootless" }
[[keys.pattern]]
name = "held"
lines.chord = "x= == == =."

[drums]
instrument = "drum kit"
[[drums.pattern]]
name = "first"
lines.hat = "xg xg xg xg"
lines.snare = ". x .g x"
lines.kick = "x . x ."
[[drums.pattern]]
name = "second"
lines.hat = "x x x x"
lines.snare = ". x . x.g."
lines.kick = "x .x x ."
"""
TUNE = """\
form: A B A
choruses: 3
[A]
| C7 | Am7 | Dm7 | G7 | A7 |
[B]
| F | C | 3/4 Dm | G7 | 4/4 C | G7 |
"""

SECOND = 'name = "second"'
TWO = 'name = "two"'
# Key of a table -> what is put for what in the base; the second is heard to differ from the first.
HEARD: dict[str, dict[str, tuple[str, str]]] = {
    "": {
        "like": ('about = "A."', 'like = "bossa nova"\nabout = "A."'),
        "without": ('about = "A."\n', 'like = "bossa nova"\nwithout = ["guitar"]\nabout = "A."\n'),
        "meters": ('meters = ["4/4"]', 'meters = ["2/2", "4/4"]'),
        "tempo": ("usual = 120", "usual = 100"),
        "feel": ('about = "A."', 'about = "A."\nfeel = "sixteenths 28:20:22:30"'),
        "grid": ('about = "A."', 'about = "A."\ngrid = "sixteenths"'),
        "colour": ('about = "A."', 'about = "A."\ncolour = true'),
        "altered": ('about = "A."', 'about = "A."\naltered = false'),
        "doubles": ('about = "A."', 'about = "A."\ndoubles = true'),
        "repeats": ('about = "A."', 'about = "A."\nrepeats = true'),
        "hold": ('about = "A."', 'about = "A."\nhold = 2'),
        "core": ('about = "A."', 'about = "A."\ncore = ["guitar"]'),
        "runs_on": ('"1 . 5 ."', '"1 . 5 . | 1 1 . ."'),
        "clave": ('"1 . 5 ."', '"1 . 5 . | 1 1 . ."'),
        "idea": ("[bass]", '[idea.drop]\nrest = ["keys"]\n[bass]'),
        "ending": ('about = "A."', 'about = "A."\nending = "short"'),
        "count_in": ('about = "A."', 'about = "A."\ncount_in = 1'),
        "last_chord": ('about = "A."', 'about = "A."\nlast_chord = "X . X ."'),
    },
    "idea": {
        "weight": ("IDEA", "weight = 50"),
        "hold": ("IDEA", 'hold = "section"'),
        "rest": ("IDEA", 'rest = ["drums"]'),
    },
    "drums": {
        "instrument": ('"drum kit"', '{ p = "brush kit", mf = "drum kit" }'),
        "plays": ('"finger bass"', '"finger bass"\nplays = "walking"'),
        "settings": ('"drum kit"', '"drum kit"\nsettings = { vary = 1 }'),
        "fresh": ('about = "A."\n', 'like = "bossa nova"\nabout = "A."\n'),
        "level_db": ('"drum kit"', '"drum kit"\nlevel_db = -6'),
        "pan": ('"drum kit"', '"drum kit"\npan = 0.3'),
        "room": ('"drum kit"', '"drum kit"\nroom = 0.5'),
        "late_ms": ('"drum kit"', '"drum kit"\nlate_ms = 12'),
        "spread_ms": ('"drum kit"', '"drum kit"\nspread_ms = 12'),
        "low": ('"finger bass"', '"finger bass"\nlow = "C2"'),
        "high": ('"organ"', '"organ"\nhigh = "E4"'),
        "hold": ('"finger bass"', '"finger bass"\nhold = "section"'),
        "timing": ('"drum kit"', '"drum kit"\ntiming = { snare = { beat = 20 } }'),
        "pattern": (SECOND, f'{SECOND}\nlines.ride = "x x x x"'),
    },
    "drums.pattern": {
        "meter": (
            '"x .x x ."',
            '"x .x x ."\n[[drums.pattern]]\nname = "two"\nmeter = "3/4"\nlines.kick = "x x x"',
        ),
        "level": (SECOND, f'{SECOND}\nlevel = "f"'),
        "where": (SECOND, f'{SECOND}\nwhere = "phrase-end"'),
        "for": (SECOND, f'{SECOND}\nfor = ["calm", "peak"]'),
        "idea": (SECOND, f'{SECOND}\nidea = "drop"'),
        "side": (SECOND, f'{SECOND}\nside = "two"'),
        "weight": (SECOND, f"{SECOND}\nweight = 20"),
        "hold": (TWO, f"{TWO}\nhold = 4"),
        "timing": (SECOND, f"{SECOND}\ntiming = {{ snare = 20 }}"),
        "lines": (SECOND, f'{SECOND}\nlines.ride = "x x x x"'),
        "vary": (SECOND, f"{SECOND}\nvary = 1"),
        "ghosts": (SECOND, f"{SECOND}\nghosts = 0.5"),
    },
}
KNOWN = {"": KEYS, "idea": IDEA_KEYS, "drums": PART_KEYS, "drums.pattern": DRUM_PATTERN_KEYS}
SAID_ONLY = {("", "name"), ("", "about"), ("", "source"), ("drums.pattern", "name")}
# What must stand beside a key, so that there is something to hear.
GUITAR = """\
[guitar]
instrument = "jazz guitar"
settings = { voicing = "close" }
[[guitar.pattern]]
name = "held"
lines.chord = "x= == == =."
[drums]"""
DROP = "[idea.drop]\nIDEA\n[bass]"
BESIDE = {
    ("", "clave"): ('about = "A."', 'about = "A."\nCLAVE'),
    ("", "runs_on"): ('about = "A."', 'about = "A."\nRUNS'),
    ("drums", "fresh"): ('"drum kit"', '"drum kit"\nFRESH'),
    ("drums.pattern", "idea"): ("[bass]", '[idea.drop]\nrest = ["keys"]\n[bass]'),
    ("", "altered"): ('about = "A."', 'about = "A."\ncolour = true'),
    ("", "core"): ("[drums]", GUITAR),
    ("", "doubles"): ("[drums]", GUITAR),
    ("", "meters"): ('name = "', 'meter = "4/4"\nname = "'),
    ("drums.pattern", "side"): ('about = "A."', 'about = "A."\nclave = "2-3"'),
    **{("idea", key): ("[bass]", DROP) for key in IDEA_KEYS},
}
LATER = {("", "clave"): ("CLAVE", 'clave = "2-3"'), ("", "runs_on"): ("RUNS", "runs_on = true"), ("drums", "fresh"): ("FRESH", "fresh = true")}  # fmt: skip
EXTRA = 'idea = "drop"'
ROWS = [(table, key) for table, keys in KNOWN.items() for key in keys if (table, key) not in SAID_ONLY]  # fmt: skip


def pair(table: str, key: str) -> tuple[str, str]:
    """A style without and with a key."""
    text = BASE
    old, new = HEARD[table][key]
    if (table, key) in BESIDE:
        text = text.replace(*BESIDE[table, key])
    if table == "idea":
        text = text.replace(SECOND, f"{SECOND}\n{EXTRA}")
        return text.replace(old, "weight = 1"), text.replace(old, new)
    if (table, key) in LATER:
        text, mark = text.replace(old, new), LATER[table, key]
        return text.replace(mark[0], ""), text.replace(*mark)
    if (table, key) == ("", "without"):
        return text.replace(old, new.replace('without = ["guitar"]\n', "")), text.replace(old, new)
    assert text.count(old) >= 1, (table, key)
    return text, text.replace(old, new, 1)


@cache
def heard(text: str, seed: int) -> str:
    """All that is played: voices, notes, gestures."""
    own = load_text(text, "own.toml")
    line = unroll(
        parse(TUNE),
        usual_tempo=usual_tempo(own),
        grid_q=own.grid_q,
        usual_close=Close(own.ending, own.count_in),
    )
    done = perform(arrange(line, own, seed))
    return str([(p.role, p.voices, p.notes, p.gestures) for p in done.players])


def test_every_key_has_a_row_here() -> None:
    """Whoever adds a key says how it is heard."""
    assert {(table, key) for table, rows in HEARD.items() for key in rows} == set(ROWS)


@each(("table", "key"), ROWS)
def test_every_key_is_heard(table: str, key: str) -> None:
    without, with_it = pair(table, key)
    assert any(heard(without, seed) != heard(with_it, seed) for seed in (1, 2, 3))


def test_every_key_is_shown_on_the_page() -> None:
    silent = []
    for table, key in ROWS:
        without, with_it = (load_text(text, "own.toml") for text in pair(table, key))
        if page(without) == page(with_it):
            silent.append((table, key))
    assert silent == []


@each("table", list(KNOWN))
def test_every_key_stands_in_the_template(table: str) -> None:
    written = {m[1] for m in re.finditer(r"^(?:# ?)?([a-z_]+)\s*=", TEMPLATE, re.M)}
    written |= {m[1] for m in re.finditer(r"^(?:# ?)?\[+\w+\.(\w+)\]", TEMPLATE, re.M)}
    written |= {m[1] for m in re.finditer(r"^(?:# ?)?\[(idea)\.", TEMPLATE, re.M)}
    written |= {"lines"} if "lines." in TEMPLATE else set()
    assert set(KNOWN[table]) - written - {"name"} == set()


def test_every_place_energy_and_mark_is_named_in_the_template() -> None:
    words = [w.value for w in Where] + [e.value for e in Energy]
    assert [w for w in words if w not in TEMPLATE] == []
    told = " ".join(line for line in TEMPLATE.splitlines() if line.lstrip().startswith("#"))
    for kind, (_, marks) in MARKS.items():
        letters = set(re.findall(r"(?<![\w'])([a-zA-Z])(?![\w'])", marks))
        missing = [m for m in sorted(letters) if not re.search(rf"(?<!\w){m}(?!\w)", told)]
        assert missing == [], kind


def mistyped(key: str) -> str:
    """With its last letter twice."""
    return key + key[-1]


@each("table", list(KNOWN))
def test_a_mistyped_key_is_answered_with_the_right_one(table: str) -> None:
    where = {"": 'about = "A."', "idea": "IDEA", "drums": '"drum kit"', "drums.pattern": SECOND}
    text = BASE.replace("[bass]", DROP).replace(SECOND, f"{SECOND}\n{EXTRA}")
    for key in KNOWN[table]:
        line = where[table] if table != "idea" else "weight = 1"
        wrong = text.replace(where[table], f"{line}\n{mistyped(key)} = 1", 1)
        with pytest.raises(StyleError) as raised:
            load_text(wrong.replace("IDEA", ""), "own.toml")
        told = raised.value.diagnostics[0]
        assert f"'{mistyped(key)}' is not a key" in told.message
        assert told.hint == f"did you mean '{key}'?"
