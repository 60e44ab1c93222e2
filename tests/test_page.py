"""The practice page as a file: what is in it, and that nothing in it points elsewhere."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

import pytest
from practice import TUNE, Made, build, played, tone, write_wav

from backing.ground.errors import OutputError
from backing.output.page import data as page_data
from backing.output.page import opus
from backing.output.page import write as page


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    return build(tmp_path_factory.mktemp("page"))


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


def test_a_chord_is_said_in_words() -> None:
    from backing.harmony.symbol import read

    chord = read("Bbm7b5/Ab")
    assert chord is not None
    assert page_data.said(chord) == "B flat m7 flat 5 over A flat"


def test_the_click_is_not_among_the_sounds(made: Made) -> None:
    """The page strikes the click itself; what is counted in comes as places."""
    assert "click" not in page.sounding(made.performance)
    assert made.data["clicks"]
    assert all(0 <= t < made.data["countIn"] for t, _ in made.data["clicks"])


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
    assert "stem-bass" not in copy.read_text(encoding="utf-8")


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
    with pytest.raises(OutputError, match="could not be encoded"):
        opus.encode(empty, 48)


def test_notes_and_verses_come_from_the_chart(made: Made) -> None:
    """A verse a playing of the section; the last is sung again when there are no more."""
    assert made.data["notes"] == "Brushes until the bridge."
    starts = [s["first"] for s in made.data["sections"] if s["name"] == "A"]
    words = [made.data["bars"][i]["words"] for i in starts]
    assert words[:3] == ["Nine lamps were", "One by one they", "One by one they"]


def test_with_a_capo_the_shapes_are_shown_and_the_key_is_what_sounds() -> None:
    """Shapes in G with a capo in fret 3 sound in B flat (common practice); two up, the shapes are those of A."""
    chart, performance = played(
        "key: G major\ntempo: 100\nmeter: 4/4\nstyle: folk strum\ncapo: 3\n\n| G | C | D7 | G |\n"
    )
    data = page_data.page_data(performance, chart, {})
    first = data["symbols"][data["chords"][0]["symbol"]]
    assert data["keys"][6] == "B♭"
    assert "capo 3" in data["line"]
    assert [data["parts"][first[i]]["root"] for i in (6, 8)] == ["G", "A"]


def test_seven_eight_is_tapped_in_groups() -> None:
    """7/8 as 2+2+3 has seven counted eighths and three taps, short, short, long."""
    chart, performance = played(
        "key: C\ntempo: 120\nmeter: 7/8\nstyle: seven-eight 2+2+3\n\n| C | F |\n"
    )
    bar = page_data.page_data(performance, chart, {})["bars"][0]
    assert len(bar["beats"]) == 7
    assert [t - bar["start"] for t in bar["pulses"]] == pytest.approx([0, 0.5, 1.0])
