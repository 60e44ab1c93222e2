"""The practice page as a file: what is in it, and that nothing in it points elsewhere."""

from __future__ import annotations

import html
import io
import re
import sys
from html.parser import HTMLParser
from pathlib import Path
from subprocess import Popen
from typing import Any

import mido
import pytest

from backing.chart.parse import parse
from backing.ground.errors import OutputError
from backing.harmony.reader import read
from backing.harmony.taught import grips_for
from backing.output.asked import Paper
from backing.output.captions import chord_cues
from backing.output.midi import midi_bytes
from backing.output.page import data as page_data
from backing.output.page import opus, still
from backing.output.page import write as page
from backing.output.page.symbols import said
from backing.output.policy import hash_of
from backing.output.sheet.grips import chosen
from backing.output.sheet.words import title_words
from backing.output.sound import encoder
from tests.practice import TUNE, Made, played, tone, write_wav


class Tags(HTMLParser):
    """Every tag with its attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


def test_nothing_in_the_file_points_outside_it(made: Made) -> None:
    """No tag has an address but data, and the policy allows none."""
    tags = Tags()
    tags.feed(made.text)
    for tag, attrs in tags.found:
        for name in ("src", "href", "srcset", "action", "data"):
            assert (attrs.get(name) or "data:").startswith("data:"), (tag, attrs)
    (policy,) = [a["content"] for t, a in tags.found if a.get("http-equiv")]
    assert policy is not None
    assert policy.startswith("default-src 'none'")
    assert "http" not in policy


def test_title_and_words_cannot_break_out_of_their_place(made: Made) -> None:
    """A title with markup in it is text: in the head it is escaped, in the data it is JSON."""
    assert "<title>Nine Lamps &lt;&amp;&gt; &quot;Ladders&quot;</title>" in made.text
    assert made.data["title"] == 'Nine Lamps <&> "Ladders"'
    assert page.script_safe('"</script><!--"') == '"\\u003c/script>\\u003c!--"'


def test_bars_and_chords_are_those_of_the_timeline(made: Made) -> None:
    timeline = made.performance.arrangement.timeline
    tempo = made.performance.tempo
    assert [b["number"] for b in made.data["bars"]] == [b.number for b in timeline.bars]
    assert len(made.data["chords"]) == len(timeline.chords)
    for span, chord in zip(timeline.chords, made.data["chords"], strict=True):
        assert chord["start"] == pytest.approx(tempo.seconds(span.start_q), abs=1e-6)
        assert (chord["symbol"] == -1) == (span.chord is None)
    for bar, shown in zip(timeline.bars, made.data["bars"], strict=True):
        assert shown["beats"][1] - shown["beats"][0] == pytest.approx(60 / 200, abs=1e-6)
        assert shown["start"] == pytest.approx(tempo.seconds(bar.start_q), abs=1e-6)


def test_symbols_are_spelled_for_every_key(made: Made) -> None:
    """E flat up two semitones is F, down one D, up six A (fewest accidentals; common practice)."""
    assert made.data["keys"] == [
        "A",
        "B♭",
        "B",
        "C",
        "D♭",
        "D",
        "E♭",
        "E",
        "F",
        "G♭",
        "G",
        "A♭",
        "A",
    ]
    row = made.data["symbols"][made.data["chords"][0]["symbol"]]
    roots = [made.data["parts"][i]["root"] + made.data["parts"][i]["sign"] for i in row]
    assert roots == made.data["keys"]  # the first chord stands on the tonic
    assert {made.data["parts"][i]["quality"] + made.data["parts"][i]["high"] for i in row} == {
        "maj9"
    }


def test_faders_stand_where_chart_and_command_line_put_them() -> None:
    """The players sound so already; a section's own level is in the sound alone."""
    text = "levels: guitar -3, click +2\nstyle: folk strum\n[A]\nlevels: bass -9\n| C | F |\n"
    chart, performance = played(text)
    assert page_data.page_data(performance, chart, {})["levels"] == {"click": 2.0}
    asked = (("click", 1.0),)
    made = page_data.page_data(performance, chart, {}, levels=asked)
    assert made["levels"] == {"click": 1.0}
    assert page_data.faders(["guitar 2", "bass"], (("guitar", -3.0),)) == {"guitar 2": -3.0}


def test_a_chord_is_said_in_words() -> None:
    from backing.harmony.symbol import read

    chord = read("Bbm7b5/Ab")
    assert chord is not None
    assert said(chord) == "B flat m7 flat 5 over A flat"


def test_the_click_is_not_among_the_sounds(made: Made) -> None:
    """The page strikes the click itself; what is counted in comes as places."""
    assert "click" not in page.sounding(made.performance)
    assert made.data["clicks"]
    assert all(0 <= t < made.data["countIn"] for t, _, _ in made.data["clicks"])


def test_joined_modules_have_no_imports_left() -> None:
    whole = page.joined(
        ['import { a } from "./a.js";\nexport const b = a;', "export function c() {}"]
    )
    assert "import" not in whole
    assert "export" not in whole
    assert "const b = a;" in whole


def test_a_file_of_others_is_not_replaced(made: Made, tmp_path: Path) -> None:
    target = tmp_path / "mine.html"
    target.write_text("<p>mine</p>")
    chart, performance = played(TUNE)
    with pytest.raises(OutputError, match="was not made by this program"):
        page.write(performance, chart, target, stems={})
    assert target.read_text() == "<p>mine</p>"
    copy = tmp_path / "ours.html"
    copy.write_text(made.text, encoding="utf-8")
    page.write(performance, chart, copy, stems={})
    assert "stem-0" not in copy.read_text(encoding="utf-8")


def test_packets_have_the_length_of_the_sound(tmp_path: Path) -> None:
    """RFC 7845: the last granule position less the pre-skip is the number of frames; RFC 6716: 20 ms a packet."""
    sound = opus.encode(write_wav(tmp_path / "a.wav", tone(440.0, 1.5)), 48)
    assert sound.frames == round(1.5 * opus.RATE)
    assert sound.channels == 2
    needed = sound.frames + sound.skip
    assert needed <= len(sound.packets) * opus.FRAME < needed + 2 * opus.FRAME
    assert opus.encode(tmp_path / "a.wav", 32, mono=True).channels == 1


def test_a_packet_over_several_pages_is_one() -> None:
    """RFC 3533: a lacing value of 255 goes on, also in the next page."""

    def ogg_page(lacing: bytes, body: bytes, granule: int) -> bytes:
        head = b"OggS\0\0" + granule.to_bytes(8, "little", signed=True) + bytes(12)
        return head + bytes([len(lacing)]) + lacing + body

    head = b"OpusHead\1\2" + (312).to_bytes(2, "little") + bytes(7)
    long = bytes(range(256)) + bytes(100)
    stream = (
        ogg_page(bytes([len(head)]), head, 0)
        + ogg_page(bytes([3]), b"tag", 0)
        + ogg_page(bytes([2, 255]), b"xy" + long[:255], -1)
        + ogg_page(bytes([101]), long[255:], 2232)
    )
    assert opus.read(stream) == opus.Packets(2, 312, 1920, (b"xy", long))


def test_what_is_no_opus_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="no Ogg page"):
        opus.read(b"RIFF" + bytes(40))
    with pytest.raises(ValueError, match="no Opus stream"):
        opus.read(b"OggS" + bytes(22) + b"\1\4head")
    empty = tmp_path / "empty.wav"
    empty.write_bytes(b"")
    with pytest.raises(OutputError, match="the encoder stopped before the end: "):
        opus.encode(empty, 48)


def test_an_encoder_of_the_page_that_hangs_is_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = tmp_path / "encoder"
    program.write_text(f"#!{sys.executable}\nimport signal\nsignal.pause()\n")
    program.chmod(0o755)
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(program))
    monkeypatch.setattr(encoder, "SILENCE_S", 0.3)
    with pytest.raises(OutputError, match=r"no sign of life for 0.3 seconds"):
        page.encoded({"bass": tmp_path / "a.wav", "drums": tmp_path / "b.wav"})


def test_an_interruption_ends_the_encoders_of_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without it, Ctrl-C waits until an hour of sound is encoded."""
    program = tmp_path / "encoder"
    program.write_text(f"#!{sys.executable}\nimport signal\nsignal.pause()\n")
    program.chmod(0o755)
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(program))
    run: list[Popen[bytes]] = []
    encode = opus.encode

    def interrupted(path: Path, kbps: int, **given: Any) -> opus.Packets:
        if path.name == "b.wav":
            raise KeyboardInterrupt
        begun = given.pop("begun")
        return encode(path, kbps, begun=lambda p: (run.append(p), begun(p)), **given)

    monkeypatch.setattr(opus, "encode", interrupted)
    with pytest.raises((KeyboardInterrupt, OutputError)):
        page.encoded({"drums": tmp_path / "b.wav", "keys": tmp_path / "a.wav"})
    assert all(process.returncode is not None for process in run)


def test_notes_and_verses_come_from_the_chart(made: Made) -> None:
    """A verse a playing of the section; the last is sung again when there are no more."""
    assert made.data["notes"] == "Brushes until the bridge."
    starts = [s["first"] for s in made.data["sections"] if s["name"] == "A"]
    words = [made.data["bars"][i]["words"] for i in starts]
    assert words[:3] == ["Nine lamps were", "One by one they", "One by one they"]


def shapes(data: dict[str, Any], shift: int = 0) -> list[str]:
    """The symbols as they are shown, in playing order."""
    rows = [data["symbols"][c["symbol"]] for c in data["chords"]]
    return [still.symbol_text(data["parts"][row[shift + 6]]) for row in rows]


def data_for(text: str) -> dict[str, Any]:
    chart, performance = played(text)
    return page_data.page_data(performance, chart, {})


def test_with_a_capo_the_shapes_are_shown_and_the_key_is_what_sounds() -> None:
    """Shapes in G with a capo in fret 3 sound in B flat (common practice); two up, the shapes are those of A."""
    data = data_for(
        "key: G major\ntempo: 100\nmeter: 4/4\nstyle: folk strum\ncapo: 3\n\n| G | C | D7 | G |\n"
    )
    assert data["keys"][6] == "B♭"
    assert data["hand"]["keys"][6] == "G"
    assert still.line_of(data) == "folk strum, ♩ = 100, G major, capo 3 (sounds in B♭ major)"
    assert shapes(data) == ["G", "C", "D7", "G"]
    assert shapes(data, 2)[0] == "A"


def test_a_bar_that_is_added_shows_a_shape_among_shapes() -> None:
    """A guitar tuned down a whole step: the tonic that is added at the end is that of the shapes."""
    data = data_for(
        "key: E minor\ntempo: 100\nmeter: 4/4\nstyle: folk strum\ntuned: -2\n\n"
        "| Em | Am | D | G | C | Am | B7 | B7 |\n"
    )
    assert len(data["bars"]) == 9
    assert shapes(data)[-1] == "Em"
    assert data["keys"][6] == "D minor"


def test_seven_eight_is_tapped_in_groups() -> None:
    """7/8 as 2+2+3 has seven counted eighths and three taps, short, short, long."""
    bar = data_for("key: C\ntempo: 120\nmeter: 7/8\nstyle: seven-eight 2+2+3\n\n| C | F |\n")[
        "bars"
    ][0]
    assert len(bar["beats"]) == 7
    assert [t[0] - bar["start"] for t in bar["taps"]] == pytest.approx([0, 0.5, 1.0])


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ("meter: 4/4\ntempo: 120", "1 2 1 2 3 4"),
        ("meter: 4/4\ntempo: 60", "1 2 3 & 4 &"),
        ("meter: 3/4\ntempo: 120", "1 2 3 1 2 3"),
        ("meter: 3/4\ntempo: 220", "1 2 3 4"),
        ("meter: 6/8\ntempo: 50", "1 2 3 1 2 3 1 2 3 1 2 3"),
        ("meter: 6/8\ntempo: 90", "1 2 1 2"),
        ("meter: 2/4\ntempo: 100", "1 2 1 2"),
        ("meter: 4/4\ntempo: 120\npickup: 1", "1 2 1 2 3"),
    ],
)
def test_a_count_is_said_as_players_say_it(head: str, words: str) -> None:
    """One, two, one-two-three-four before a four; one-two-three twice before a three (common practice)."""
    assert " ".join(c[2] for c in data_for(f"{head}\n\n| C | F | G | C |\n")["clicks"]) == words


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ("meter: 4/4\ntempo: 120", "1 2 3 4"),
        ("meter: 6/8\ntempo: 50", "1 2 3 1 2 3"),
        ("meter: 6/8\ntempo: 90", "1 2"),
        ("meter: 12/8\ntempo: 90", "1 2 3 4"),
        ("meter: 4/4\ntempo: 120\npickup: 1", "4"),
    ],
)
def test_the_beats_of_a_bar_are_counted_as_players_count(head: str, words: str) -> None:
    """A pickup of one beat is the fourth of four (common practice)."""
    bar = data_for(f"{head}\n\n| C | F | G | C |\n")["bars"][0]
    assert " ".join(t[2] for t in bar["taps"]) == words


MELODY = """key: F major
meter: 4/4
tempo: 100
style: folk strum

[A]
| F | Bb7 |
  melody: | F4 G4 A4 (C5 Bb4) | B4 Bb4 r r |
  hits: | x r x r | r r r r |
"""


def test_the_melody_is_written_in_every_key() -> None:
    """Steps above E4 in the treble; in F the B needs a natural and the B flat after it a flat; two up, G major."""
    data = data_for(MELODY)
    first, second = (data["figures"][data["bars"][n]["melody"]] for n in (0, 1))
    assert [f[10][6] for f in first] == [1, 2, 3, 5, 4]
    assert [f[6] for f in first] == [0, 0, 0, 1, 1]  # the eighths hang on one beam
    assert [f[11][6] for f in second][:2] == ["♮", "♭"]
    assert data["signatures"][data["bars"][0]["signature"]][6] == -1
    assert data["signatures"][data["bars"][0]["signature"]][8] == 1
    assert [f[10][8] for f in first] == [2, 3, 4, 6, 5]
    assert [f[11][8] for f in second][:2] == ["♯", "♮"]
    hits = data["figures"][data["bars"][0]["hits"]]
    assert [bool(f[4]) for f in hits] == [False, True, False, True]


def test_a_verse_that_is_played_higher_has_its_melody_higher() -> None:
    """A form that moves a section up a whole step moves its notes by a step."""
    data = data_for(MELODY.replace("style: folk strum", "style: folk strum\nform: A A+2"))
    low, high = (data["figures"][data["bars"][n]["melody"]] for n in (0, 2))
    assert [f[10][6] + 1 for f in low] == [f[10][6] for f in high]


def test_every_symbol_has_a_grip() -> None:
    """The open shapes that every first book prints: C x32010, G 320003, Am x02210, E 022100."""
    data = data_for("key: C\nmeter: 4/4\ntempo: 100\nstyle: folk strum\n\n| C | G | Am | E |\n")
    names = shapes(data)
    grips = {
        n: "".join(
            "x" if f < 0 else str(f) for f in data["grips"][data["symbols"][c["symbol"]][6]][0]
        )
        for n, c in zip(names, data["chords"], strict=True)
    }
    assert grips == {"C": "x32010", "G": "320003", "Am": "x02210", "E": "022100"}


def test_the_page_goes_through_the_shapes_in_the_order_of_the_sheet() -> None:
    """First what the sheet shows, then as they are taught, each once."""
    text = "key: F\nmeter: 4/4\ntempo: 100\nstyle: folk strum\n\n| Gm7 | C7 | F | Bb |\n"
    data = data_for(text)
    sheet = {chord.symbol: list(grip.frets) for chord, grip in chosen(parse(text))}
    for chord, symbol in zip(data["chords"], ("Gm7", "C7", "F", "Bb"), strict=False):
        shapes = data["grips"][data["symbols"][chord["symbol"]][6]]
        assert shapes[0] == sheet[symbol]
        assert 2 < len(shapes) == len({tuple(s) for s in shapes})
        taught = [list(g.frets) for g in grips_for(read(symbol), 5)]
        assert [s for s in shapes[1:] if s in taught] == [t for t in taught if t in shapes[1:]]


def test_without_scripts_the_chords_are_text(made: Made) -> None:
    """What a preview shows: title, maker, tempo and key, every section's bars, and how to have it play."""
    seen = re.sub(
        r"<script.*?</script>|<style.*?</style>|<head>.*?</head>", "", made.text, flags=re.S
    )
    words = html.unescape(re.sub(r"<[^>]+>", "", seen))
    assert 'Nine Lamps <&> "Ladders"' in words
    assert "The Maker" in words
    assert "rock eighths, ♩ = 200, E♭ major" in words
    assert "| E♭maj9 Cm7 | Fm9 B♭13 | Gm7 C7(♭9) | Fm7 B♭7sus4 |" in words
    assert "N.C." in words
    assert "open this file in a browser" in words


def test_the_policy_allows_this_script_and_style_only(made: Made) -> None:
    """CSP level 3: hashes of what stands in the page, nothing inline besides."""
    found = re.search(r'Content-Security-Policy" content="([^"]+)"', made.text)
    assert found
    rules = dict(rule.split(" ", 1) for rule in found[1].split("; "))
    (script,) = re.findall(r"<script>(.*?)</script>", made.text, re.S)
    (style,) = re.findall(r"<style>(.*?)</style>", made.text, re.S)
    assert rules["script-src"] == f"{hash_of(script)} 'wasm-unsafe-eval'"
    assert rules["style-src"] == hash_of(style)
    assert "unsafe-inline" not in found[1]
    assert " style=" not in made.text
    assert made.text.index("Content-Security-Policy") < made.text.index("<title>")


def test_signs_are_on_the_page_where_they_are_asked_for() -> None:
    chart, performance = played("| Cmaj7 | Dm7b5 |\n")
    for paper, quality in ((Paper(), "maj"), (Paper(signs=True), "△")):
        shown = page_data.page_data(performance, chart, {}, paper)["parts"]
        assert quality in {part["quality"] for part in shown}


CAPO = (
    "title: Nine Lamps\nkey: G major\ntempo: 100\nmeter: 4/4\nstyle: folk strum\ncapo: 3\n\n"
    "| G | C/G | D7 | N.C. |\n"
)


def test_page_sheet_captions_and_midi_follow_one_rule_for_a_capo(tmp_path: Path) -> None:
    """What the hand plays is shown, what sounds is said: shapes in G with a capo in fret 3 sound in B flat."""
    chart, performance = played(CAPO)
    line = "capo 3 (sounds in B♭ major)"
    assert line in still.line_of(page_data.page_data(performance, chart, {}))
    assert line in title_words(chart, "folk strum", None, None)
    assert "sounds" not in title_words(chart, "folk strum", None, "Bb")
    cues = chord_cues(performance)
    assert [c.text.splitlines()[0] for c in cues][:3] == ["G", "C/G", "D7"]
    assert line in cues[0].text
    file = mido.MidiFile(file=io.BytesIO(midi_bytes(performance)))
    texts = [m.text for track in file.tracks for m in track if m.type == "text"]
    assert texts[1:6] == ["capo 3 (sounds in Bb major)", "G", "C/G", "D7", "N.C."]
    keys = [m.key for track in file.tracks for m in track if m.type == "key_signature"]
    assert keys == ["Bb"]  # the notes of the file are what sounds
