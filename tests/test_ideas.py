"""Ideas of the whole band, what a section is for, breaks before it, and the side of the clave."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from itertools import groupby
from pathlib import Path

from backing.band.arrange import arrange
from backing.band.briefing import form_of
from backing.band.course import energies, levels, opens
from backing.band.model import Arrangement, Note
from backing.ground.instruments import DRUM_NAMES
from backing.ground.roles import COMPING
from backing.performance.explain import explain
from backing.styles.find import find
from backing.styles.load import load, load_text
from backing.styles.model import Style
from backing.styles.show import page
from tests.band import player, timeline
from tests.each import each
from tests.refused import refused

STYLES = Path(__file__).parent / "data" / "styles"
EIGHT = "| Am | Dm | Am | Dm | G | C | Dm | E7 |\n"
HEAD = """
about = "For tests."
source = "made for a test"
meters = ["4/4"]
tempo = { low = 60, usual = 120, high = 200 }
"""


def chart(form: str = "[A]\n" + EIGHT, **settings: object) -> str:
    told = {"meter": "4/4", "tempo": 120, "ending": "as written", **settings}
    return "".join(f"{k}: {v}\n" for k, v in told.items()) + form


def played(own: Style, text: str, seed: int = 1) -> Arrangement:
    return arrange(timeline(text), own, seed)


def by_bar(music: Arrangement, role: str) -> list[list[Note]]:
    """A player's notes bar by bar of four quarters."""
    bars: list[list[Note]] = [[] for _ in music.timeline.bars]
    for note in player(music, role).notes:
        bars[int(note.start_q // 4)].append(note)
    return bars


def places(notes: list[Note]) -> list[Fraction]:
    return sorted({note.start_q % 4 for note in notes})


# -- ideas --------------------------------------------------------------------------------------------------

FOUR = [Fraction(i) for i in range(4)]
SINCOPA = [Fraction(0), Fraction(3, 2), Fraction(3)]


def test_a_tango_band_changes_from_marcato_to_sincopa_together() -> None:
    """The whole orchestra marks in four or plays the syncopation, never one part each (common practice)."""
    own = load(STYLES / "marcato-and-sincopa.toml")
    counts: Counter[str] = Counter()
    for seed in range(1, 9):
        music = played(own, chart(), seed)
        for bass, keys in zip(by_bar(music, "bass"), by_bar(music, "keys"), strict=True):
            assert places(bass) == places(keys)
            assert places(bass) in (FOUR, SINCOPA)
            counts["marcato" if places(bass) == FOUR else "síncopa"] += 1
    assert counts["síncopa"] > 4
    assert counts["marcato"] > counts["síncopa"], "it weighs three times as much"


def test_explain_tells_the_idea() -> None:
    music = played(load(STYLES / "marcato-and-sincopa.toml"), chart())
    text = explain(music)
    assert "bass:       1: A1 1 (root of Am, pattern 'in four', idea 'marcato')" in text
    assert "idea" not in "".join(n.why.words for n in player(music, "strings").notes)


def test_a_player_without_patterns_of_the_idea_goes_on_as_usual() -> None:
    music = played(load(STYLES / "marcato-and-sincopa.toml"), chart())
    assert all(places(bar) == [Fraction(0)] for bar in by_bar(music, "strings"))


def test_an_idea_lasts_for_its_bars_and_other_seeds_choose_otherwise() -> None:
    own = load(STYLES / "marcato-and-sincopa.toml")
    rows = {
        tuple(places(bar) == FOUR for bar in by_bar(played(own, chart(), seed), "bass"))
        for seed in range(1, 25)
    }
    assert len(rows) > 4
    assert all(row[i] == row[i + 1] for row in rows for i in range(0, 8, 2)), "two bars each"


def test_in_a_dub_drop_the_chords_leave_drums_and_bass_alone() -> None:
    own = load(STYLES / "dub-drop.toml")
    dropped = 0
    for seed in range(1, 6):
        music = played(own, chart(choruses=3), seed)
        keys, guitar, bass, drums = (
            by_bar(music, role) for role in ("keys", "guitar", "bass", "drums")
        )
        for number, (k, g, b, d) in enumerate(zip(keys, guitar, bass, drums, strict=True)):
            if any(music.plan.sections[number // 8].rests_at(p, number % 8) for p in COMPING):
                continue  # the leader leaves one of them out
            assert bool(k) == bool(g), "both or neither"
            assert b
            assert d
            alone = any("alone" in note.why.words for note in b)
            assert alone == (not k), "the riff changes with the drop"
            assert k or 8 <= number < 16, "only the middle chorus features somebody"
            dropped += not k
    assert 8 < dropped < 40, "for four bars or eight, and not in every take"


def test_a_stop_chorus_leaves_the_soloist_alone_but_for_one_stroke_a_bar() -> None:
    music = played(load(STYLES / "stop-chorus.toml"), chart(choruses=3), 1)
    for role in ("bass", "keys", "drums"):
        bars = by_bar(music, role)
        assert all(places(bar) == [Fraction(0)] for bar in bars[8:14]), role
        assert all(len(places(bar)) > 1 for bar in bars[16:22]), role


def test_a_break_is_as_long_as_it_is_written_and_ends_with_the_section() -> None:
    """Out after the first beat; the drummer alone leads into the next chorus (common practice)."""
    music = played(load(STYLES / "stop-chorus.toml"), chart(choruses=3), 1)
    for end in (8, 16):
        assert places(by_bar(music, "keys")[end - 2]) == [Fraction(0)]
        assert by_bar(music, "keys")[end - 1] == []
        assert by_bar(music, "bass")[end - 1] == []
        assert len(by_bar(music, "drums")[end - 1]) == 6
    assert by_bar(music, "keys")[23] != [], "nothing comes after the last chorus"


def test_what_the_band_plays_together_is_played_as_written() -> None:
    """No fill, no change of a bar, no chord put in, no note under a chord that the idea leaves out."""
    text = (
        HEAD
        + """
[idea.stop]
hold = "section"
[drums]
instrument = "drum kit"
settings = { vary = 1 }
[[drums.pattern]]
name = "one"
idea = "stop"
lines.snare = "X . . ."
lines.hat = "xx xx .x x."
[keys]
instrument = "acoustic piano"
[[keys.pattern]]
name = "one"
idea = "stop"
lines.chord = "X. . . ."
[bass]
instrument = "finger bass"
plays = "walking"
[[bass.pattern]]
name = "one"
idea = "stop"
lines.bass = "1 . . ."
"""
    )
    music = played(load_text(text, "t"), chart("[A]\n" + "| C F | G C | F G | C " * 3 + "|\n"))
    notes = [n for bar in by_bar(music, "drums") for n in bar if n.start_q]
    assert Counter(DRUM_NAMES[n.pitch] for n in notes)["snare"] == 11
    assert len([n for n in notes if DRUM_NAMES[n.pitch] == "hat"]) == 12 * 6 - 1
    for role in ("keys", "bass"):
        assert all(places(bar) == [Fraction(0)] for bar in by_bar(music, role)), role


def test_a_written_hit_comes_before_a_rest_of_the_idea() -> None:
    own = load(STYLES / "dub-drop.toml")
    text = chart("[A]\n| Am | Dm | Am! | Dm | G | C | Dm | E7 |\n", choruses=3)
    for seed in range(1, 4):
        assert all(by_bar(played(own, text, seed), "keys")[at] for at in (2, 10, 18))


# -- what a section is for ----------------------------------------------------------------------------------


@each(
    ("form", "told"),
    [
        (chart(choruses=1), [""]),
        (chart(choruses=2), ["", "lift"]),
        (chart(choruses=3), ["calm", "feature", "peak"]),
        (chart(choruses=4), ["calm", "feature", "feature", "peak"]),
        (chart("form: A B A\n[A]\n| C |\n[B]\n| F |\n"), ["", "", "lift"]),
        (chart("form: A B A\n[A]\ndynamics: p\n| C |\n[B]\ndynamics: f\n| F |\n"), ["calm", "lift", "calm"]),
        (chart("form: A B A B\n[A]\ndynamics: p\n| C |\n[B]\ndynamics: f\n| F |\n"), ["calm", "lift", "calm", "peak"]),
        (chart("[A]\ndynamics: f\n| C |\n"), [""]),
    ],
)  # fmt: skip
def test_what_a_section_is_for_follows_from_its_course(form: str, told: list[str]) -> None:
    """Never from its name: loudness, what came before, the place among the choruses (common practice)."""
    line = timeline(form)
    assert energies(line, opens(line, levels(line))) == told


BASS = """
[bass]
instrument = "finger bass"
[[bass.pattern]]
name = "usual"
lines.bass = "1 . . ."
[[bass.pattern]]
name = "usual, loud"
level = "f"
lines.bass = "1 . 1 ."
[[bass.pattern]]
name = "soft"
for = "calm"
lines.bass = ". 1 . ."
[[bass.pattern]]
name = "full"
for = ["feature", "peak"]
lines.bass = "11 11 11 11"
"""


def names(own: Style, text: str, role: str = "bass", seed: int = 1) -> list[str]:
    """The pattern of every bar."""
    bars = by_bar(played(own, text, seed), role)
    return [bar[0].why.words.split("pattern ")[-1].strip("'") for bar in bars]


def test_a_pattern_for_an_energy_is_played_there_and_nowhere_else() -> None:
    own = load_text(HEAD + BASS, "t")
    assert set(names(own, chart(choruses=3))[:8]) == {"soft"}
    assert set(names(own, chart(choruses=3))[8:]) == {"full"}, "whatever the level"
    assert set(names(own, chart())) == {"usual"}
    assert set(names(own, chart("[A]\ndynamics: f\n" + EIGHT))) == {"usual, loud"}


# -- the side of the clave ----------------------------------------------------------------------------------


def test_patterns_of_one_bar_and_fills_keep_to_their_side_of_the_clave() -> None:
    """A one-bar figure of the three-side crosses the clave when it falls on the two-side (common practice)."""
    own = load(STYLES / "clave-sides.toml")
    assert own.clave == "2-3"
    form = "form: A B A\n[A]\n| C | F | G7 | C | F | G7 | C |\n[B]\n| F | G7 | C |\n"
    for clave in ("2-3", "3-2"):
        for seed in range(1, 5):
            music = played(own, chart(form, clave=clave), seed)
            two_first = clave == "2-3"
            for number, (wood, kit, hand) in enumerate(
                zip(by_bar(music, "percussion"), by_bar(music, "drums"), by_bar(music, "keys"), strict=True)
            ):  # fmt: skip
                claves = [n for n in wood if DRUM_NAMES[n.pitch] == "claves"]
                two = len(claves) == 2
                assert two == ((number % 2 == 0) == two_first)
                words = {n.why.words.split("pattern ")[-1].strip("'") for n in kit}
                assert any(("two side" if two else "three side") in w for w in words), words
                assert {n.why.words.split(";")[0].split(",")[0] for n in hand} == {
                    "two" if two else "three"
                }


# -- said, shown, refused -----------------------------------------------------------------------------------


def test_a_page_shows_ideas_and_what_patterns_are_for() -> None:
    text = page(load(STYLES / "dub-drop.toml"))
    assert "  idea    dub drop: weight 2, for 4 bars, without keys, guitar\n" in text
    assert "riff, alone  (4/4, mf, for feature, idea 'dub drop', weight 1)\n" in text
    assert "for feature and peak" in page(load_text(HEAD + BASS, "t"))
    assert "the two side" in page(load(STYLES / "clave-sides.toml"))


def test_a_style_that_is_like_another_keeps_its_ideas(tmp_path: Path) -> None:
    (tmp_path / "first.toml").write_text(
        (STYLES / "dub-drop.toml").read_text("utf-8"), encoding="utf-8"
    )
    (tmp_path / "second.toml").write_text(
        'like = "first.toml"\n[idea."dub drop"]\nhold = 2\n', encoding="utf-8"
    )
    (idea,) = load(tmp_path / "second.toml").ideas
    assert idea == ("dub drop", 2.0, 2, ("keys", "guitar"))


IDEA = '[idea.stop]\nrest = ["drums"]\n'


@each(
    ("text", "message", "hint"),
    [
        (BASS.replace('for = "calm"', 'for = "clam"'), "there is no for 'clam'", "calm"),
        (BASS.replace('"peak"]', '"paek"]'), "there is no for 'paek'", "peak"),
        (BASS.replace('for = "calm"', 'idea = "stop"'), "there is no idea 'stop'", "[idea.stop]"),
        (IDEA + BASS.replace('for = "calm"', 'idea = "stp"'), "there is no idea 'stp'", "'stop'"),
        (IDEA.replace('["drums"]', '["drum"]') + BASS, "there is no rest 'drum'", "drums"),
        (IDEA.replace("rest", "rests") + BASS, "'rests' is not a key of [idea.stop]", "rest"),
        ("[idea.stop]\nhold = 2\n" + BASS, "nobody plays the idea 'stop'", 'idea = "stop"'),
        ("[idea.stop]\nhold = 0\n" + BASS, "'hold' is 0", "from 1 to 64"),
        ("[idea.stop]\nweight = 0\n" + BASS, "'weight' is 0", "0.01"),
        (BASS.replace('for = "calm"', 'side = "two"'), "no clave", 'clave = "2-3"'),
        ('clave = "2-3"\n' + BASS.replace('for = "calm"', 'side = "tow"'), "there is no side 'tow'", "two"),
        (
            'clave = "2-3"\n' + BASS.replace('for = "calm"', 'side = "two"').replace('". 1 . ."', '"1 . . . | 1 . . ."'),
            "a pattern of 2 bars is on both sides",
            "two bars begins with the side",
        ),
        (BASS.replace('for = "calm"', 'where = "brake"'), "there is no where 'brake'", "break"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_what_to_type(text: str, message: str, hint: str) -> None:
    refused(HEAD + text, message, hint)


def test_what_leaves_somebody_out_does_not_come_twice_running() -> None:
    """A drop is heard because the band was there before it (common practice)."""
    out: Counter[int] = Counter()
    for seed in range(1, 9):
        text = "choruses: 3\n[A]\n" + EIGHT + EIGHT
        timed, own = timeline(text, "reggae steppers"), find("reggae steppers")
        form = form_of(timed, own, seed, {}, guide_tones=False, plain=False)
        for plans in form.plans:
            row = ["dub drop" in plan.ideas for plan in plans["bass"]]
            runs = [len(list(run)) for dropped, run in groupby(row) if dropped]
            out.update(runs)
    assert out
    assert max(out) <= 4, out
