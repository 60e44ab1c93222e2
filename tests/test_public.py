"""What the package offers to Python: small, documented, and with names of its own."""

from __future__ import annotations

import inspect
import pydoc
import re
import typing
from pathlib import Path

import mido
import numpy as np
import pyloudnorm
import pytest
import soundfile

import backing
from tests.band import ROOT

PACKAGE = Path(backing.__file__).parent
FUNCTIONS = [
    getattr(backing, n) for n in backing.__all__ if inspect.isfunction(getattr(backing, n))
]


def example(text: str) -> str:
    """The first Python example of the README."""
    found = re.search(r"```python\n(.+?)```", text, re.DOTALL)
    assert found
    return found[1]


def played(text: str = "| Dm9 G13 | Cmaj9 |", style: str = "straight-ahead swing") -> typing.Any:
    timeline = backing.unroll(backing.parse(text))
    return backing.perform(backing.arrange(timeline, backing.style(style), seed=1))


def test_the_readme_s_example_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    exec(compile(example((ROOT / "README.md").read_text("utf-8")), "README.md", "exec"), {})
    tracks = {track.name for track in mido.MidiFile("tune.mid").tracks}
    assert "bass" in tracks
    assert "drums" not in tracks
    assert mido.bpm2tempo(132) in [
        m.tempo for m in mido.MidiFile("tune.mid") if m.type == "set_tempo"
    ]
    assert Path("tune.mp3").stat().st_size > 1000


def test_no_name_is_that_of_a_module_or_package_at_the_top() -> None:
    files = {path.stem for path in PACKAGE.iterdir() if path.suffix == ".py" or path.is_dir()}
    assert files & set(backing.__all__) == set()


def test_what_is_offered_is_sorted_and_is_all_that_there_is() -> None:
    public = {n for n, v in vars(backing).items() if not n.startswith("_") and callable(v)}
    own = {n for n in public if getattr(backing, n).__module__.startswith("backing")}
    assert sorted(backing.__all__) == backing.__all__
    assert own | {"Options"} == set(backing.__all__)
    assert isinstance(backing.options(), backing.Options)
    assert not hasattr(backing, "Option")
    assert len(backing.__all__) <= 20


def test_every_function_says_what_it_takes_gives_and_raises() -> None:
    for function in FUNCTIONS:
        words = function.__doc__ or ""
        assert re.search(r"Raises|never fails", words), function.__name__
        for name in re.findall(r"\b[A-Z]\w+Error\b|AudioUnavailable", words):
            assert name == "ValueError" or name in backing.__all__, (function.__name__, name)
        assert inspect.signature(function).return_annotation, function.__name__


def test_help_reads_as_a_page() -> None:
    page = pydoc.render_doc(backing, renderer=pydoc.plaintext)
    for name in backing.__all__:
        assert name in page
    for words in ("quarters", "seconds", "44,100 Hz", "LUFS", "diagnostics", "Errors:"):
        assert words in page


def test_a_chart_s_diagnostics_bear_its_name() -> None:
    with pytest.raises(backing.ChartError, match=r"tune\.txt:1:3") as wrong:
        backing.parse("| Hm |", "tune.txt")
    assert wrong.value.diagnostics[0].code.startswith("E")
    assert wrong.value.exit_code == 1


def test_a_chart_has_its_style() -> None:
    assert backing.style(backing.parse("meter: 3/4\n| C |")).name == "jazz waltz"
    assert backing.style(backing.parse("style: bossa nova\n| C |")).name == "bossa nova"
    with pytest.raises(backing.ChartError, match="bosa nova"):
        backing.style(backing.parse("style: bosa nova\n| C |", "tune.txt"))


def test_options_shape_form_and_band() -> None:
    chart = backing.parse("key: C\ntempo: 120\nstyle: bossa nova\n| C | Am7 | Dm7 | G7 |")
    wish = backing.options(tempo="50%", choruses=2, only=["bass", "drums"], seed=3)
    timeline = backing.unroll(chart, wish)
    assert [bar.chorus for bar in timeline.bars[:8]] == [1] * 4 + [2] * 4
    music = backing.arrange(timeline, backing.style(chart), options=wish)
    assert {p.role for p in music.players if p.notes} <= {"bass", "drums", "click"}
    again = backing.arrange(timeline, backing.style(chart), 3, backing.options(only="bass,drums"))
    assert [p.notes for p in again.players] == [p.notes for p in music.players]


def test_capo_and_tuning_are_as_if_the_chart_had_them() -> None:
    """A capo at the third fret sounds three semitones higher; a whole step down takes two away."""
    text = "key: C\nending: as written\n| C | Am |"
    asked = backing.unroll(backing.parse(text), backing.options(capo=3, tuned=-2))
    written = backing.unroll(backing.parse(f"capo: 3\ntuned: -2\n{text}"))
    assert [c.chord for c in asked.chords] == [c.chord for c in written.chords]
    assert [c.chord.symbol for c in asked.chords if c.chord] == ["Db", "Bbm"]
    none = backing.unroll(backing.parse(f"capo: 3\n{text}"), backing.options(capo=0))
    assert [c.chord.symbol for c in none.chords if c.chord] == ["C", "Am"]


def test_options_that_there_are_not_are_refused() -> None:
    with pytest.raises(backing.RequestError, match="no option 'tempoo'"):
        backing.options(tempoo=90)
    with pytest.raises(backing.RequestError, match=r"--loop: .*backing make"):
        backing.options(loop=True)
    with pytest.raises(backing.RequestError, match="has no strings"):
        backing.arrange(
            backing.unroll(backing.parse("| C |")),
            backing.style("straight-ahead swing"),
            options=backing.options(only="strings"),
        )


def test_a_mix_is_written_at_its_loudness(tmp_path: Path) -> None:
    """Measured with pyloudnorm, which follows ITU-R BS.1770-4."""
    path = tmp_path / "tune.wav"
    music = played("tempo: 120\n| Dm9 G13 | Cmaj9 |")
    assert backing.write_sound(music, path, backing.options(loudness=-20)) == [path]
    sound, rate = soundfile.read(path)
    assert rate == 44100
    assert pyloudnorm.Meter(rate).integrated_loudness(sound) == pytest.approx(-20, abs=0.5)


def test_dry_sound_has_the_shape_that_is_told() -> None:
    music = played()
    whole = backing.render(music)
    assert {p.role for p in music.players} == whole.keys()
    for array in whole.values():
        assert array.dtype == np.float32
        assert array.shape == (round(music.duration_s * 44100), 2)
    blocks = backing.render_blocks(music)
    assert next(blocks).keys() == whole.keys()


def test_a_chord_is_read_or_refused_as_every_error_is() -> None:
    chord = backing.chord("F#m7b5")
    assert chord is not None
    assert [n.name for n in chord.notes] == ["F#", "A", "C", "E"]
    assert backing.chord("N.C.") is None
    with pytest.raises(backing.BackingError):
        backing.chord("Hm")
    with pytest.raises(ValueError, match="type Bm"):
        backing.chord("Hm")


def test_a_melody_finds_chords() -> None:
    found = backing.harmonise("key: C\n| ? | ? |\nmelody: | E4 G4 C5 G4 | F4 D4 C4 / |\n")
    assert [f.rank for f in found] == list(range(1, len(found) + 1))
    assert len(found[0].symbols) >= 2
    assert backing.harmonise("E4 G4 C5 G4 | F4 D4 C4 /")
    with pytest.raises(backing.RequestError):
        backing.harmonise("| ? |\n")
