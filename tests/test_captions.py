"""WebVTT by the grammar of the W3C: head, blocks, times, escapes."""

from __future__ import annotations

import itertools
import re
from fractions import Fraction
from pathlib import Path

import pytest

from backing.ground.errors import OutputError
from backing.output.captions import (
    Cue,
    chapters,
    chord_cues,
    clock,
    vtt,
    write,
)
from tests.each import each
from tests.hand_made import performance

# W3C WebVTT, "WebVTT timestamp" and "WebVTT cue timings": two digits of minutes and seconds, three of milliseconds
TIME = r"(?:\d{2,}:)?[0-5]\d:[0-5]\d\.\d{3}"
TIMING = re.compile(rf"({TIME}) --> ({TIME})")


def milliseconds(time: str) -> int:
    parts = re.split(r"[:.]", time)
    hours, minutes, seconds, ms = ["0", *parts][-4:]
    return ((int(hours) * 60 + int(minutes)) * 60 + int(seconds)) * 1000 + int(ms)


def blocks(text: str) -> list[list[str]]:
    return [block.splitlines() for block in text.strip("\n").split("\n\n")]


@each("cues", [chord_cues, chapters])
def test_the_file_follows_the_grammar(cues: object) -> None:
    p = performance(("Cmaj7 Am7", "N.C.", "Dm7 G7"), sections=(("A", 1), ("B & C", 3)))
    assert callable(cues)
    head, note, *rest = blocks(vtt(cues(p), p))
    assert head[0].startswith("WEBVTT")
    assert note[0].startswith("NOTE made by backing")
    last = 0
    for block in rest:
        timing = next(i for i, line in enumerate(block) if "-->" in line)
        assert timing <= 1  # at most an identifier before it
        found = TIMING.fullmatch(block[timing])
        assert found
        start, end = (milliseconds(t) for t in found.groups())
        assert last <= start < end
        last = end
        body = block[timing + 1 :]
        assert body
        assert all("-->" not in line for line in body)
        assert not re.search(r"<|&(?!amp;|lt;|gt;)", "\n".join(body))


def test_a_cue_a_chord_with_its_place_and_the_section_that_opens() -> None:
    p = performance(("Cmaj7 Am7", "Dm7"), sections=(("A", 1), ("B", 2)))
    found = [(c.start_ms, c.end_ms, c.text, c.name) for c in chord_cues(p)]
    assert found == [
        (2000, 3000, "Cmaj7\n[A]", "bar 1 beat 1"),
        (3000, 4000, "Am7", "bar 1 beat 3"),
        (4000, 6000, "Dm7\n[B]", "bar 2 beat 1"),
    ]


def test_chapters_fill_the_whole_sound() -> None:
    p = performance(("C", "C"), sections=(("A", 1), ("B", 2)))
    found = [(c.start_ms, c.end_ms, c.text) for c in chapters(p)]
    assert found == [
        (0, 2000, "count-in"),
        (2000, 4000, "A"),
        (4000, round(p.duration_s * 1000), "B"),
    ]


def test_names_cannot_break_the_file() -> None:
    p = performance(title="a --> b\n\nc")
    text = vtt([Cue(0, 5, "x < y & z --> w\n\nmore", "1 --> 2")], p)
    head, _, cue = blocks(text)
    assert head == ["WEBVTT a -> b c"]
    assert cue == [
        "1 -> 2",
        "00:00:00.000 --> 00:00:00.005",
        "x &lt; y &amp; z --&gt; w",
        "more",
    ]


def test_neighbours_share_one_rounded_time() -> None:
    """At 97 a minute no beat falls on a millisecond."""

    cues = chord_cues(performance(("C F G C",) * 3, qpm=Fraction(97)))
    for before, after in itertools.pairwise(cues):
        assert before.end_ms == after.start_ms


def test_hours_are_counted() -> None:
    assert clock(3_600_000 * 12 + 1) == "12:00:00.001"


def test_files_are_written_and_foreign_ones_kept(tmp_path: Path) -> None:
    write(performance(), tmp_path / "a.vtt")
    write(performance(), tmp_path / "a.vtt")
    assert (tmp_path / "a.vtt").read_text().startswith("WEBVTT")
    (tmp_path / "a.vtt").write_text("WEBVTT\n")
    with pytest.raises(OutputError, match="is in the way"):
        write(performance(), tmp_path / "a.vtt")
