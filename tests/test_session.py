"""Practice tracks: passes one after the other, each exactly where the lengths before it add up to.

Sources: lengths by arithmetic (bars x beats x 60 / bpm), as for any count-in; nine rungs from 60 to 100 percent by
fives.
"""

from __future__ import annotations

import json
import re
from fractions import Fraction
from pathlib import Path

import mido
import pytest
from mutagen.flac import FLAC
from mutagen.id3 import ID3

from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.practice import Practice, practised, rehearse
from backing.commands.preparing import band, prepare
from backing.ground.errors import RequestError
from backing.ground.pitch import Key
from backing.performance.model import Performance
from backing.performance.session import joined
from tests.each import each

CHART = """\
title: Eight to Practise
key: C major
tempo: 120
style: straight-ahead swing
[A]
| Dm7 | G7 | Cmaj7 | A7 |
[B]
| Dm7 | <G7 | A7 | C6 |
"""
US = 1_000_000


@pytest.fixture(autouse=True)
def inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text(CHART, "utf-8")


def made(practice: Practice, wish: Options | None = None) -> tuple[list[str], list[Path]]:
    wish = wish or Options()
    prepared = prepare(parse(CHART, "tune.txt"), wish)
    _, labels = practised(prepared, wish, practice)
    return labels, rehearse(
        Path("tune.txt"), [Path("p.json"), Path("p.mid"), Path("p.vtt")], wish, practice
    )


def test_a_ladder_with_two_passes_starts_every_pass_at_its_computed_place() -> None:
    """Nine tempos twice; a pass is its count-in and eight bars, at whole microseconds a quarter."""
    wish = Options()
    prepared = prepare(parse(CHART), wish)
    performances, labels = practised(prepared, wish, Practice())
    assert len(labels) == 18
    track = joined(performances, labels)
    assert len({m.text for m in track.markers if m.text in labels}) == 18
    at = Fraction(0)
    starts = {m.text: m.at_s for m in track.markers}
    for number, (performance, label) in enumerate(zip(performances, labels, strict=True)):
        percent = 60 + 5 * (number // 2)
        quarter_us = round(Fraction(60 * US * 100, 120 * percent))
        arrangement = performance.arrangement
        assert abs(starts[label] - float(at)) < 1 / 44100, label
        at += (arrangement.count_in_q + arrangement.timeline.length_q) * Fraction(quarter_us, US)
    last = performances[-1]
    tail = last.duration_s - float(last.tempo.exact_s(last.arrangement.timeline.length_q))
    assert track.duration_s == pytest.approx(float(at) + tail, abs=1e-5)


def test_notes_of_every_pass_lie_on_its_own_bars() -> None:
    """Sound and bars were moved by the same amount: bass notes on the first beat stay within 25 ms of it."""
    wish = Options()
    performances, labels = practised(
        prepare(parse(CHART), wish), wish, Practice(ladder="60:100:20", passes=1)
    )
    track = joined(performances, labels)
    bass = next(p for p in track.players if p.role == "bass")
    onsets = [n.onset_s for n in bass.notes]
    for bar in track.arrangement.timeline.bars:
        if bar.number not in (6, 8):  # pushed, and the last chord rings
            start = track.tempo.seconds(bar.start_q)
            assert min(abs(o - start) for o in onsets) < 0.025, bar.index
    assert onsets == sorted(onsets)


def test_a_slow_pass_is_played_anew_and_not_stretched() -> None:
    """Swing depends on tempo, so the off-beats of a slow pass are no scaled copy of the fast pass's."""
    wish = Options().changed(tempo_bpm=Fraction(240))
    performances, _ = practised(
        prepare(parse(CHART), wish), wish, Practice(ladder="50:100:50", passes=1)
    )
    ratios = []
    for performance in performances:
        drums = next(p for p in performance.players if p.role == "drums")
        beat = performance.tempo.seconds(Fraction(1)) - performance.tempo.seconds(Fraction(0))
        ride = [
            (n.onset_s - performance.count_in_s) / beat % 1
            for n in drums.notes
            if n.pitch in (42, 51)
        ]
        late = [r for r in ride if 0.4 < r < 0.85]
        ratios.append(sum(late) / len(late))
    assert ratios[0] > ratios[1] + 0.05


def test_passes_are_marked_in_midi_captions_and_timeline() -> None:
    labels, written = made(Practice(ladder="80:100:10", passes=1))
    assert [p.name for p in written] == ["p.json", "p.mid", "p.vtt"]
    markers = [m.text for m in mido.MidiFile("p.mid").tracks[0] if m.type == "marker"]
    assert [m for m in markers if m in labels] == labels
    told = json.loads(Path("p.json").read_text("utf-8"))
    assert [b["index"] for b in told["bars"]] == list(range(1, 25))
    assert told["bars"][8]["start_s"] > told["bars"][7]["end_s"]  # the count-in of the second pass
    assert [round(t["qpm"]) for t in told["tempo"]] == [96, 108, 120]
    assert "90 %" in Path("p.vtt").read_text("utf-8") or labels[1] in markers


def test_keys_in_turn_move_the_band() -> None:
    labels, _ = made(Practice(through="C F Bb", ladder="100", passes=1))
    assert [re.sub(r"^\d+: ", "", x).split(",")[0] for x in labels] == [
        "C major",
        "F major",
        "Bb major",
    ]
    told = json.loads(Path("p.json").read_text("utf-8"))
    assert [told["chords"][i]["root"] for i in (2, 10, 18)] == ["C", "F", "Bb"]


def test_gaps_leave_the_band_out_and_may_keep_the_click_or_the_drums() -> None:
    for plays, heard in (("nothing", set()), ("drums", {"drums"}), ("click", {"click"})):
        wish = Options()
        practice = Practice(ladder="100", passes=1, gap="2:2", gap_plays=plays)
        (performance,), _ = practised(prepare(parse(CHART), wish), wish, practice)
        start, end = (performance.tempo.seconds(Fraction(q)) + 0.06 for q in (8, 16))
        inside_gap = {
            p.role
            for p in performance.players
            if any(start < n.onset_s < end - 0.2 for n in p.notes)
        }
        assert inside_gap == heard, plays


def test_split_writes_a_file_a_pass_named_after_it() -> None:
    _, written = made(Practice(ladder="90:100:10", passes=1, split=True))
    assert [p.name for p in written] == [
        "p-01-90.json", "p-01-90.mid", "p-01-90.vtt", "p-02-100.json", "p-02-100.mid", "p-02-100.vtt",
    ]  # fmt: skip


def test_two_passes_at_one_tempo_are_not_played_alike() -> None:
    wish = Options()
    performances, _ = practised(prepare(parse(CHART), wish), wish, Practice(ladder="100", passes=2))
    first, second = (
        [(n.start_q, n.pitch) for n in keys.notes]
        for one in performances
        for keys in one.players
        if keys.role == "keys"
    )
    assert first != second


def test_nothing_to_join_is_an_error() -> None:
    with pytest.raises(ValueError, match="nothing to join"):
        joined([], [])


@each(
    ("practice", "words"),
    [
        (Practice(ladder="slow"), "60:100:5"),
        (Practice(passes=0), "--passes 0"),
        (Practice(gap="4"), "4:4"),
        (Practice(gap="4:4", gap_plays="horns"), "nothing, click, drums"),
        (Practice(through="H"), "--through"),
    ],
)
def test_a_wrong_plan_says_what_to_type(practice: Practice, words: str) -> None:
    with pytest.raises(RequestError) as wrong:
        made(practice)
    assert words in str(wrong.value)


LOOP = """\
title: Round and Round
key: C major
tempo: 120
style: straight-ahead swing
| <Dm7 | G7 | Cmaj7 | A7 |
"""


def looped_band(text: str, **wish: object) -> Performance:
    options = Options().changed(loop=True, **wish)  # type: ignore[arg-type]
    return band(prepare(parse(text), options), options)


def test_a_push_in_the_first_bar_of_a_loop_sounds_at_its_end() -> None:
    """Four bars of 4/4 at 120 are 8 s; the pushed D of the bass is heard in the last half second."""
    performance = looped_band(LOOP)
    bass = next(p for p in performance.players if p.role == "bass")
    assert performance.count_in_s == 0
    assert 7.5 < bass.notes[-1].onset_s < 8.0
    assert bass.notes[-1].pitch % 12 == 2
    assert bass.notes[0].onset_s > 0.3


def test_a_loop_holds_every_note_once_and_inside() -> None:
    """No click, nothing outside the round, and as many notes as a middle round has."""
    performance = looped_band(LOOP)
    for player in performance.players:
        assert player.role != "click" or not player.notes
        assert all(0 <= n.onset_s < 8.0 for n in player.notes), player.role
        assert len(set(player.notes)) == len(player.notes)
    assert [b.index for b in performance.arrangement.timeline.bars] == [1, 2, 3, 4]


def test_a_loop_keeps_a_count_in_that_was_asked_for() -> None:
    performance = looped_band(LOOP, count_in=1)
    assert performance.count_in_s == pytest.approx(2.0)
    click = next(p for p in performance.players if p.role == "click")
    assert click.notes[0].onset_s == 0.0
    assert all(n.onset_s < 2.0 for n in click.notes)


def test_a_track_to_practise_with_says_in_its_tags_what_is_practised() -> None:
    """Album and words; chapters name the pass in the middle of it too (ID3v2 chapter frames, read by mutagen)."""
    practice = Practice(ladder="90:100:10", passes=1, gap="2:2", gap_plays="drums")
    wish = Options().changed(key=Key.parse("F"))
    (written,) = rehearse(Path("tune.txt"), [], wish, practice)
    assert str(written) == "tune-practice-90-100-10-1-pass-gaps-2-2-with-drums-F.mp3"
    tags = ID3(written)
    said = "practice, 90 to 100 % by 10, 1 pass, gaps 2:2 with drums, in F"
    assert str(tags["TIT2"]) == f"Eight to Practise ({said})"
    assert str(tags["TALB"]) == "Eight to Practise (practice)"
    assert "TRCK" not in tags
    chapters = sorted(tags.getall("CHAP"), key=lambda c: c.start_time)
    assert [str(c.sub_frames["TIT2"]) for c in chapters] == [
        *("1: 90 %", "1: 90 %, A", "1: 90 %, B", "2: 100 %", "2: 100 %, A", "2: 100 %, B"),
    ]


def test_every_pass_is_told_with_its_tempo_and_where_it_starts() -> None:
    """Eight bars of four beats and one of count-in at 60 are 36 s, and where the tempo is new two beats a second 18 s."""
    lines: list[str] = []
    practice = Practice(ladder="60:120:60bpm", passes=2, gap="4:4")
    wish = Options().changed(count_in=1)
    rehearse(Path("tune.txt"), [Path("p.mid")], wish, practice, tell=lines.append)
    assert [re.split(r"\s{2,}", line.strip()) for line in lines] == [
        ["pass", "tempo", "bpm", "starts"],
        ["1", "50 %", "60", "0:00"],
        ["2", "50 %", "60", "0:36"],
        ["3", "100 %", "120", "1:12"],
        ["4", "100 %", "120", "1:30"],
    ]
    rehearse(
        Path("tune.txt"), [Path("q.mid")], wish, Practice("80", 1, split=True), tell=lines.append
    )
    assert lines[-2:] == ["pass  tempo  bpm", "   1   80 %   96"]


def test_a_file_a_pass_is_a_track_of_the_album() -> None:
    practice = Practice(ladder="90:100:10", passes=1, split=True)
    written = rehearse(Path("tune.txt"), [Path("p.flac")], Options(), practice)
    assert [p.name for p in written] == ["p-01-90.flac", "p-02-100.flac"]
    for number, path in enumerate(written, 1):
        tags = FLAC(path)
        assert tags["title"] == [f"Eight to Practise ({number}: {80 + 10 * number} %)"]
        assert (tags["album"], tags["tracknumber"]) == (
            ["Eight to Practise (practice)"],
            [f"{number}/2"],
        )
