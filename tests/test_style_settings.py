"""Settings of styles: each stands in the template, changes what is played, or is refused."""

from __future__ import annotations

import re
import tomllib
from functools import cache

import pytest

from backing.band.arrange import arrange
from backing.band.model import Note
from backing.ground.errors import StyleError
from backing.styles import shelf
from backing.styles.algorithms import ALGORITHMS, SETTINGS, Setting
from backing.styles.load import load_text
from backing.styles.model import Style
from backing.styles.show import page, written
from tests.band import timeline

LEVELS = ("p", "mf", "f")
ROWS = [
    (role, way, name, setting)
    for role, ways in ALGORITHMS.items()
    for way, algorithm in ways.items()
    for name, setting in algorithm.settings.items()
]

TUNE = """\
key: Eb
meter: 4/4
tempo: 120
form: A B C
ending: as written
[A]
dynamics: p
| Eb | C7 | Fm7 | Bb7 | Gm7 | C7 | Fm7 Bb7 | Eb |
[B]
dynamics: mf
| Eb7 | Ab | Bb7 | Eb | Fm7 | Bb7 | Gm7 C7 | Fm7 Bb7 |
[C]
dynamics: f
| Eb | C7 | Fm7 | Bb7 | Ab7 | Eb | Fm7 Bb7 | Eb |
"""

BAND = {
    "bass": ("finger bass", 'lines.bass = "1 . 5 .a"'),
    "guitar": ("steel guitar", 'lines.chord = "x x x x"'),
    "keys": ("acoustic piano", 'lines.chord = "x . . xx | 1 2 3 2"'),
    "strings": ("string ensemble", 'lines.chord = "x= = 2= ="'),
    "horns": ("brass section", 'lines.chord = ".  x .x 1"'),
    "drums": ("drum kit", 'lines.ride = "x Xx x Xx"\nlines.snare = ". x . x"\nlines.kick = "x . .x ."'),
    "percussion": ("percussion", 'lines."open conga" = "x xg x xg"'),
}  # fmt: skip


def band(role: str, way: str, settings: str = "") -> Style:
    """A style of which one player plays in a certain way with certain settings."""
    lines = ['about = "A."', 'source = "test"', 'meters = ["4/4"]', "colour = true"]
    lines.append("tempo = { low = 60, usual = 120, high = 200 }")
    for name in dict.fromkeys(("bass", role)):  # a drummer listens to the bass
        instrument, pattern = BAND[name]
        plays = way if name == role else "pattern"
        lines += [f"[{name}]", f'instrument = "{instrument}"', f'plays = "{plays}"']
        lines += [f"settings = {{ {settings} }}"] if name == role else []
        lines += [f"[[{name}.pattern]]", 'name = "time"', pattern]
    return load_text("\n".join(lines), "settings.toml")


@cache
def notes(role: str, way: str, settings: str) -> tuple[Note, ...]:
    style = band(role, way, settings)
    music = arrange(timeline(TUNE, None), style, 1)
    return next(tuple(p.notes) for p in music.players if p.role == role)


def others(setting: Setting) -> list[bool | float | str]:
    """Values that are not the usual one, those that change most first."""
    if setting.kind == "flag":
        return [not setting.default]
    if setting.kind == "number":
        ends = [setting.high, (setting.low + setting.high) / 2, setting.low]
        return [end for end in ends if end != setting.default]
    if setting.kind == "degrees":
        return ["1 5", "3 7"]
    return [choice for choice in setting.choices if choice != setting.default]


# what a setting needs beside it, so that there is something to change
BESIDE = {
    ("guitar", "rocks"): 'voicing = "power"',
    ("guitar", "capo"): 'voicing = "open"',
    ("guitar", "drone"): 'voicing = "open"',
}


@pytest.mark.slow
def test_every_setting_changes_a_note() -> None:
    """For each role and way: some value makes other notes than the usual value."""
    dead = []
    for role, way, name, setting in ROWS:
        beside = BESIDE.get((role, name), "")
        usual = notes(role, way, beside)
        told = (f"{name} = {written(value)}" for value in others(setting))
        if all(notes(role, way, ", ".join(filter(None, (beside, t)))) == usual for t in told):
            dead.append((role, way, name))
    assert dead == []


@pytest.mark.slow
def test_the_usual_value_is_what_is_played_without_it() -> None:
    """The table says what holds when a style says nothing, and no player knows better."""
    told = [
        (role, way, name)
        for role, way, name, setting in ROWS
        if notes(role, way, f"{name} = {written(setting.default)}") != notes(role, way, "")
    ]
    assert told == []


def test_every_wrong_value_is_refused() -> None:
    for role, way, name, setting in ROWS:
        wrong = {"flag": "1", "number": f"{setting.high + 1:g}"}.get(setting.kind, '"no-such-word"')
        named = setting.kind in ("choice", "degrees")
        with pytest.raises(StyleError, match="no-such-word" if named else name):
            band(role, way, f"{name} = {wrong}")


def test_a_setting_of_another_way_is_refused() -> None:
    for role, ways in ALGORITHMS.items():
        for way in ways:
            for name in SETTINGS[role].keys() - ways[way].settings.keys():
                if role in BAND:
                    with pytest.raises(StyleError, match=f"'{name}' is not a key"):
                        band(role, way, f"{name} = {written(SETTINGS[role][name].default)}")


def test_a_name_means_the_same_in_every_way_of_a_role() -> None:
    for role, _, name, setting in ROWS:
        assert SETTINGS[role][name] == setting, (role, name)


# --- the template


_HEAD = re.compile(r"(?:# )?\[(\w+)\.settings\]")
_LINE = re.compile(r"(?:# )?(\w+ += .+?)  +# (.+)")


def told() -> dict[tuple[str, str], tuple[object, str]]:
    """Settings as the template has them: value and comment by role and name, those in comments as well."""
    text = (shelf.own_folder() / "_template.toml").read_text("utf-8")
    found: dict[tuple[str, str], tuple[object, str]] = {}
    role = ""
    for line in text.splitlines():
        if head := _HEAD.match(line):
            role = head[1]
        elif not line.strip():
            role = ""
        elif role and (row := _LINE.fullmatch(line)):
            [(name, value)] = tomllib.loads(re.sub(" +=", " =", row[1], count=1)).items()
            found[role, name] = (value, row[2])
    return found


def comment(role: str, name: str, setting: Setting) -> str:
    """What the template says behind a setting, but for the ways of playing that know it."""
    families = len(setting.choices) > 5  # named once, above
    if setting.choices and not families:
        return f"{setting.about} ({', '.join(setting.choices)})"
    if setting.kind == "number":
        return f"{setting.about} ({setting.low:g} to {setting.high:g})"
    return setting.about


def test_the_template_has_every_setting_with_its_usual_value_and_what_it_does() -> None:
    found = told()
    wanted = {(role, name): setting for role, _, name, setting in ROWS}
    assert found.keys() == wanted.keys()
    for (role, name), setting in wanted.items():
        value, words = found[role, name]
        ways = [way for way, algorithm in ALGORITHMS[role].items() if name in algorithm.settings]
        assert value == setting.default, (role, name)
        assert words.partition("; " + ways[0])[0] == comment(role, name, setting), (role, name)


def test_the_template_names_the_families_of_voicings() -> None:
    text = (shelf.own_folder() / "_template.toml").read_text("utf-8")
    choices = SETTINGS["keys"]["voicing"].choices
    assert f"# Families of voicings: {', '.join(choices)}.\n" in text


# --- the page of a style


def test_the_page_of_a_style_shows_what_it_sets_and_what_that_does() -> None:
    text = page(band("keys", "pattern", 'voicing = "triads", octaves = true, voices = 3'))
    assert '  voicing = "triads"  family of voicings that the search draws from\n' in text
    assert (
        "  octaves = true      single notes of chords and lines doubled an octave above\n" in text
    )
    assert "  voices = 3          notes in a chord, 0 for what the family usually has\n" in text
    assert "vary" not in text
