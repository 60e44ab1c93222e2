"""Everything that can be typed in a chart, from the program's own tables: what the editor of the desk completes."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from backing.styles.model import Style


@cache
def words() -> dict[str, Any]:
    """Settings with an example each, values of settings, lines under the music, directions, qualities of chords, keys, styles."""
    from backing.chart import lex
    from backing.chart.settings import SETTINGS
    from backing.chart.words import WORDS
    from backing.styles.find import styles

    return {
        "settings": [
            {"name": name, "example": setting.example, "chart": setting.chart_only}
            for name, setting in SETTINGS.items()
        ],
        "values": values(),
        "under": list(lex.UNDER),
        "directions": list(WORDS),
        "qualities": qualities(),
        "styles": [style_row(style) for style in styles()],
        "headings": headings(),
        "keys": keys(),
    }


def values() -> dict[str, list[str]]:
    """What may stand behind a setting, where that is a list."""
    from backing.chart.ast import LETTERS, NUMBERS, NUMERALS, EndingKind
    from backing.ground.manners import INTROS, PLANS
    from backing.ground.roles import ROLES
    from backing.ground.timebase import DYNAMICS

    return {
        "feel": ["straight", "swing", "swing 16", "shuffle", "swing 3:2"],
        "push": ["8", "16"],
        "clave": ["2-3", "3-2"],
        "dynamics": list(DYNAMICS),
        "players": list(ROLES),
        "colour": ["full", "none"],
        "chords": [LETTERS, NUMBERS, NUMERALS],
        "ending": ["fade 4" if kind is EndingKind.FADE else kind.value for kind in EndingKind],
        "intro": list(INTROS),
        "plan": list(PLANS),
        "count-in": ["1", "2", "off"],
        "chord-melody": ["full", "easy", "bass"],
        "note-names": ["english", "german", "latin"],
        "meter": ["4/4", "3/4", "6/8", "2/2", "5/4", "7/8", "9/8", "12/8"],
    }


def qualities() -> list[str]:
    """Qualities as they are typed behind a root; those that charts hold most come first, as in the table itself."""
    from backing.harmony.qualities import TABLE

    rows = [line.partition("|")[0].strip() for line in TABLE.strip().splitlines() if "|" in line]
    usual = [row.removeprefix("*") for row in rows if row.startswith("*")]
    return [*usual, *(row for row in rows if not row.startswith("*"))]


def keys() -> list[str]:
    """Major and minor keys of up to six signs, by fifths."""
    from backing.ground.pitch import Key

    names = ["Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#"]
    minor = ["Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#"]
    found = [f"{name} major" for name in names] + [f"{name} minor" for name in minor]
    return [Key.parse(name).name for name in found]


def style_row(style: Style) -> dict[str, str]:
    """A style as the list of styles has it, with the heading that it stands under."""
    from backing.styles.show import heading, tempos

    return {
        "name": style.name,
        "about": style.about,
        "heading": heading(style),
        "tempo": tempos(style),
    }


def headings() -> list[str]:
    """Names that sections usually have (common practice)."""
    return ["Intro", "A", "B", "Verse", "Chorus", "Bridge", "Solo", "Ending"]
