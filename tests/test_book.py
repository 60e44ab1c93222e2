"""Books: a list or a folder of charts as printed book, album, pages; only what changed is made, nothing is lost.

What is checked of a printed book is taken out of it with pdfplumber, of tags with mutagen: both know nothing of this
program.
"""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pdfplumber
import pytest
from mutagen.mp3 import MP3

from backing.commands.book.choices import (
    BookChoices,
    read_book,
    read_gap,
    read_keys,
    read_make,
    read_tempos,
)
from backing.commands.book.listing import CODES, read_list
from backing.commands.cli import run
from backing.commands.options import options
from backing.ground.errors import ChartError, RequestError
from backing.ground.pitch import Key
from backing.output import crew
from backing.output.book.printed import Entry, places
from backing.output.folder import LOG
from tests.books import ends, leaves, seen
from tests.each import each

CHART = "title: {}\nby: {}\nkey: {}\ntempo: 240\nstyle: {}\nending: short\n[A]\n| C6 | G7 |\n"
TUNES = {
    "kettle.txt": ("The Kettle", "Ada Example", "C major", "straight-ahead swing"),
    "anvil.txt": ("Anvil", "Demo songbook", "Bb major", "bossa nova"),
    "kite 2.txt": ("Élan & Kite", "Demo songbook", "A minor", "straight-ahead swing"),
}
LONG = "| C6 | G7 | F6 | G7 |\nwords: | oh | and | or | so |\n" * 16


@pytest.fixture(autouse=True)
def inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    Path("charts").mkdir()
    for name, told in TUNES.items():
        Path("charts", name).write_text(CHART.format(*told), "utf-8")


def book(*more: str, source: str = "charts") -> int:
    return run(["book", source, "-o", "out", "--workers", "1", "--quiet", *more])


def listed(text: str, name: str = "charts/set.list") -> str:
    Path(name).write_text(text, "utf-8")
    return name


def times() -> dict[str, int]:
    return {str(p): p.stat().st_mtime_ns for p in Path("out").rglob("*")}


def written(before: dict[str, int]) -> set[str]:
    """What people see that is new or another since then."""
    files = {p: t for p, t in times().items() if Path(p).is_file() and "/." not in p}
    return {p.removeprefix("out/") for p, t in files.items() if before.get(p) != t}


# lists


def tunes_of(text: str) -> list[tuple[str, str]]:
    found = read_list(text, Path("charts/set.list"), options("book"))
    return [(tune.path.name, tune.heading) for tune in found.tunes]


def test_a_list_has_tunes_in_order_with_options_headings_and_remarks() -> None:
    text = (
        "# for the spring concert\ntitle: Spring\nby: Ms Example\n\n[First set]\nanvil.txt --key Eb --tempo 90% # slower\n"
        "'kite 2.txt' --choruses=2 --only bass --only drums\n[Second set]\nanvil.txt --make mid,pdf\n"
    )
    found = read_list(text, Path("charts/set.list"), options("book", transpose="2", seed="7"))
    assert (found.title, found.by) == ("Spring", "Ms Example")
    assert [(t.path.name, t.heading, t.make) for t in found.tunes] == [
        ("anvil.txt", "First set", None), ("kite 2.txt", "First set", None), ("anvil.txt", "Second set", "mid,pdf"),
    ]  # fmt: skip
    first, second, _ = (tune.wish for tune in found.tunes)
    assert (first.form.key, first.form.transpose) == (Key.parse("Eb"), None)
    assert str(first.form.tempo_percent) == "9/10"
    assert (second.form.transpose, second.form.choruses) == (2, 2)
    assert second.band.only == ("bass", "drums")
    assert {tune.wish.band.seed for tune in found.tunes} == {7}


@each(
    ("line", "code", "column", "hint"),
    [
        ("anvil.txt --kye Eb", "L101", 11, "Did you mean '--key'?"),
        ("anvil.txt --key --tempo 90%", "L102", 11, "type  --key Eb"),
        ("anvil.txt --key H", "L103", 17, "such as  --key Eb"),
        ("anvil.txt --key Eb --transpose 2", "L103", 11, "take one of them away"),
        ("anvil.txt --stems", "L103", 11, "take one of them away"),
        ("anvil.txt --make mp5", "L103", 18, "such as  --make mp3,mid"),
        ("--key Eb", "L105", 1, "type  tune.txt --key"),
        ("[Slow ones", "L106", 1, "type  [Slow ones]"),
        ("tempo: 90", "L107", 1, "a list has title: and by:"),
        ("anvil.txt\ntitle: late", "L108", 1, "move this line up"),
        ("'kite 2.txt", "L109", 1, 'type " behind the name'),
        ("# nothing", "L110", 1, "write the name of a chart"),
        ("kite 2.txt", "L111", 6, "put names with blanks in quotes"),
    ],
)
def test_a_mistake_in_a_list_is_told_with_its_place(
    line: str, code: str, column: int, hint: str
) -> None:
    with pytest.raises(ChartError) as wrong:
        tunes_of(f"[Set]\n{line}\n" if code != "L110" else line)
    (found,) = wrong.value.diagnostics
    assert found.code == code
    assert found.column == column
    assert found.line == (1 if code == "L110" else 1 + len(line.split("\n")))
    assert hint in found.hint


def test_every_code_of_lists_is_told_in_the_guide() -> None:
    page = (Path(crew.__file__).parent.parent / "guide" / "book.md").read_text("utf-8")
    assert [code for code in CODES if not re.search(rf"^\| {code} \| \w.{{20,}}", page, re.M)] == []


def test_a_chart_that_is_not_there_is_told_at_its_line_and_the_others_are_made(
    capsys: pytest.CaptureFixture[str],
) -> None:
    source = listed("anvil.txt\n  ketle.txt\n")
    assert book("--make", "mid", source=source) == 1
    said = capsys.readouterr().err
    assert said.startswith("charts/set.list:2:3: L104 there is no chart ketle.txt")
    assert "kettle.txt" in said
    assert Path("out/midi/anvil.mid").is_file()


# choices


def test_choices_are_read_from_a_table_and_from_the_command() -> None:
    Path("c.toml").write_text(
        '[book]\ntitle = "Mine"\nmake = ["book", "mid"]\nkeys = ["all"]\ntempos = [60, 80]\ngap = 1.5\n'
    )
    assert read_book(Path("c.toml"), BookChoices()) == BookChoices(
        title="Mine", make=("book", "mid"), keys=("all",), tempos=(60, 80), gap=1.5
    )
    assert read_tempos("60:100:10") == (60, 70, 80, 90, 100)
    assert read_tempos("100:60:20") == (100, 80, 60)
    assert read_keys("C, F Bb,C") == ("C", "F", "Bb")
    assert read_make(".mp3, Book") == ("mp3", "book")


@each(
    ("read", "text", "words"),
    [
        (read_make, "mp4x", "choose among book, album, lesson"),
        (read_keys, "H", 'write all, or notes such as "C F Bb"'),
        (read_tempos, "60:100:0", "such as 60:100:10"),
        (read_tempos, "5", "percentages go from 10 to 400"),
        (read_gap, "long", "write seconds from 0 to 60"),
    ],
)
def test_a_wrong_choice_says_what_to_type(read: object, text: str, words: str) -> None:
    with pytest.raises(RequestError) as wrong:
        read(text)  # type: ignore[operator]
    assert words in str(wrong.value)


@each(
    ("line", "words"),
    [("maek = 'x'", "[book] has no 'maek'"), ("title = 3", "[book] title is a text"), ("make = true", "make is a list"),
     ("gap = 'x'", "write seconds"), ("keys = ['H']", "write all, or notes")],
)  # fmt: skip
def test_a_wrong_table_is_named(line: str, words: str) -> None:
    Path("c.toml").write_text(f"[book]\n{line}\n")
    with pytest.raises(RequestError) as wrong:
        read_book(Path("c.toml"), BookChoices())
    assert words in str(wrong.value)


# what is made, and made again


def test_a_book_is_made_renewed_and_cleared_up(capsys: pytest.CaptureFixture[str]) -> None:
    """First run; nothing to do; one changed; one gone whose file somebody changed; one renamed; a dry run before each."""
    make = ("--make", "book,mid,txt")
    assert book(*make, "--dry-run") == 0
    assert not Path("out").exists()
    assert "would make midi/anvil.mid (missing)" in capsys.readouterr().out
    assert book(*make) == 0
    assert set(seen(Path("out"))) == {
        "charts.pdf", "contents.json", "index.html",
        *(f"{folder}/{stem}.{ending}" for stem in ("anvil", "kettle", "kite 2") for folder, ending in (("midi", "mid"), ("charts", "txt"))),
    }  # fmt: skip
    before = times()
    capsys.readouterr()
    assert book(*make) == 0
    assert times() == before
    assert " 0 files made" in capsys.readouterr().out
    Path("charts/anvil.txt").write_text(
        CHART.format("Anvil", "Demo", "F major", "bossa nova"), "utf-8"
    )
    assert book(*make, "--dry-run") == 0
    assert "would make midi/anvil.mid (changed: chart)" in capsys.readouterr().out
    assert times() == before
    assert book(*make) == 0
    assert written(before) == {
        "charts.pdf",
        "contents.json",
        "index.html",
        "midi/anvil.mid",
        "charts/anvil.txt",
    }
    Path("charts/anvil.txt").rename("charts/hammer.txt")
    Path("charts/kite 2.txt").unlink()
    Path("out/midi/kite 2.mid").write_bytes(b"mine")
    capsys.readouterr()
    assert book(*make) == 0
    assert "left midi/kite 2.mid: its tune has left the book" in capsys.readouterr().out
    assert set(seen(Path("out"))) == {
        "charts.pdf", "contents.json", "index.html", "midi/kite 2.mid",
        "midi/hammer.mid", "midi/kettle.mid", "charts/hammer.txt", "charts/kettle.txt",
    }  # fmt: skip
    assert len(list(Path("out/.backing/tunes").iterdir())) == 2


def test_what_somebody_changed_is_kept_and_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert book("--make", "mid") == 0
    Path("out/midi/anvil.mid").write_bytes(b"mine")
    assert book("--make", "mid", "--seed", "2") == 0
    assert "kept midi/anvil.mid: somebody has changed it" in capsys.readouterr().out
    assert Path("out/midi/anvil.mid").read_bytes() == b"mine"
    assert book("--make", "mid", "--seed", "2", "--force") == 0
    assert Path("out/midi/anvil.mid").read_bytes()[:4] == b"MThd"


def test_a_bad_chart_is_named_keeps_its_files_and_stops_no_other(
    capsys: pytest.CaptureFixture[str],
) -> None:
    make = ("--make", "book,mid")
    assert book(*make) == 0
    old = seen(Path("out"))
    Path("charts/anvil.txt").write_text("title: Anvil\n| Xyz |\n", "utf-8")
    Path("charts/kettle.txt").write_text(
        CHART.format("Pot", "Demo", "D major", "bossa nova"), "utf-8"
    )
    capsys.readouterr()
    assert book(*make) == 1
    said = capsys.readouterr().err
    assert said.count("E505") == 1
    assert said.startswith("charts/anvil.txt:2:3: E505")
    new = seen(Path("out"))
    assert new.keys() == old.keys()
    assert new["midi/anvil.mid"] == old["midi/anvil.mid"]
    assert new["midi/kettle.mid"] != old["midi/kettle.mid"]
    with pdfplumber.open("out/charts.pdf") as pdf:
        assert [p.extract_text().split("\n")[0] for p in pdf.pages[2:5]] == [
            "Anvil",
            "Pot",
            "Élan & Kite",
        ]


def test_a_request_that_a_tune_cannot_fill_is_named_with_its_chart(
    capsys: pytest.CaptureFixture[str],
) -> None:
    source = listed("anvil.txt\nkettle.txt --only horns\n")
    assert book("--make", "mid", source=source) == 1
    assert "backing: charts/kettle.txt: --only horns" in capsys.readouterr().err
    assert set(seen(Path("out"))) == {"contents.json", "index.html", "midi/anvil.mid"}


def test_several_processes_make_the_same_bytes() -> None:
    make = ("--make", "book,mid")
    assert book(*make) == 0
    shutil.move("out", "alone")
    assert book(*make, "--workers", "2") == 0
    assert seen(Path("out")) == seen(Path("alone"))


def test_a_task_that_ends_its_process_is_named_and_the_others_are_done() -> None:
    tasks = [
        crew.Task(f"{i}", f"{i}", ends if i == 1 else leaves, Path(), frozenset()) for i in range(4)
    ]
    done = {one.task.name: one for one in crew.processes(1)(tasks)}
    assert {name for name, one in done.items() if one.told == "done"} == {"0", "2", "3"}
    assert str(done["1"].failure) == crew.KILLED


def test_a_folder_of_something_else_is_not_taken(capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        run(
            [
                "lesson",
                "charts/anvil.txt",
                "-o",
                "out",
                "--choices",
                choices_of_a_lesson(),
                "--quiet",
            ]
        )
        == 0
    )
    assert book() == 4
    assert "out holds a lesson" in capsys.readouterr().err
    assert book("-o", "out.pdf") == 4
    assert "a book is a folder" in capsys.readouterr().err
    assert book("-o", ".", source="charts") == 4
    assert "charts lies in the book ." in capsys.readouterr().err
    assert book("-o", "charts/anvil.txt") == 4
    assert "a book is a folder" in capsys.readouterr().err
    assert book(source="charts/anvil.txt") == 1
    said = capsys.readouterr().err
    assert said.startswith("charts/anvil.txt:8:1: L112 this is a chart, and no list of charts")
    assert said.count(": L") == 1
    Path("empty").mkdir()
    assert book(source="empty") == 4
    assert "empty has no charts in it" in capsys.readouterr().err
    Path("latin.list").write_bytes(b"caf\xe9.txt\n")
    assert book(source="latin.list") == 4
    assert "is no list of charts: it is not UTF-8 text" in capsys.readouterr().err


def choices_of_a_lesson() -> str:
    Path("c.toml").write_text(
        "[lesson]\nspeeds = []\nwithout = false\nstems = false\nloops = false\npage = false\nbass_and_drums = false\n"
    )
    return "c.toml"


# the printed book


def test_contents_and_index_name_the_pages_on_which_the_tunes_are() -> None:
    Path("charts/long.txt").write_text(
        f"title: A Long One\nkey: D minor\nstyle: bossa nova\n{LONG}", "utf-8"
    )
    source = listed(
        "title: Two Sets\nby: Ms Example\n[Early]\nanvil.txt\n[Late]\nlong.txt\nkettle.txt\n'kite 2.txt' --key D\n"
    )
    assert book("--make", "book", "--sheets", "concert,Bb", source=source) == 0
    with pdfplumber.open("out/Two Sets.pdf") as pdf:
        pages = [page.extract_text() for page in pdf.pages]
        links = [link["uri"] for page in pdf.pages for link in page.hyperlinks]
    assert pages[0].split("\n")[:3] == ["Two Sets", "Ms Example", "4 tunes"]
    starts = {}
    for title in ("Anvil", "A Long One", "The Kettle", "Élan & Kite"):
        (starts[title],) = [n for n, text in enumerate(pages, 1) if text.startswith(f"{title}\n")]
    told = re.findall(r"^(Anvil|A Long One|The Kettle|Élan & Kite)\b.* (\d+)$", pages[1], re.M)
    assert {title: int(page) for title, page in told} == starts
    assert re.search(r"Early\nAnvil.*\nLate\nA Long One", pages[1])
    assert (
        starts["A Long One"] % 2 == 0
    )  # it lies open: a left-hand page and the right-hand one beside it
    second = starts["A Long One"] + 1
    assert pages[second - 1].endswith(f"\nA Long One {second} 2 / 2")
    index = pages[-1]
    assert index.startswith("Index")
    assert re.search(rf"Kettle, The.* {starts['The Kettle']}\n", index)
    for group, title in (
        ("bossa nova", "Long One, A"),
        ("B♭ major", "Anvil"),
        ("D minor", "Élan & Kite"),
    ):
        assert re.search(rf"^{group}.*{title}|{title} ", index, re.M), group
    assert [re.sub(r"^A Long One | \d / 2$", "", text.split("\n")[-1]) for text in pages[1:]] == [
        str(n) for n in range(2, len(pages) + 1)
    ]
    assert links == []  # none leads out of the book
    with pdfplumber.open("out/Two Sets-Bb.pdf") as pdf:
        assert "for B♭ instruments" in pdf.pages[0].extract_text()
        assert re.search(r"^C major.*Anvil|Anvil.* C major", pdf.pages[-1].extract_text(), re.M)
        assert "C major" in pdf.pages[starts["Anvil"] - 1].extract_text()


def test_tunes_of_two_pages_lie_open() -> None:
    """Right-hand pages are odd (common practice), so two pages begin on an even one."""
    entries = [Entry("", "", "", "", "", {"pages": [[]] * n, "letters": "", "language": "en"}) for n in (1, 2, 2, 1, 3, 4)]  # fmt: skip
    assert places(entries, 3) == ([3, 4, 6, 8, 9, 12], 16)


# the album and the pages


def test_the_album_has_numbers_a_play_list_and_one_file_with_chapters() -> None:
    source = listed("title: Set\nanvil.txt\nkettle.txt\n")
    make = ("--make", "mp3,album", "--gap", "1", "--only", "bass", "--count-in", "off")
    assert book(*make, source=source) == 0
    tags = [MP3(f"out/album/{stem}.mp3") for stem in ("anvil", "kettle")]
    assert [str(one["TRCK"]) for one in tags] == ["1/2", "2/2"]
    assert {str(one["TALB"]) for one in tags} == {"Set"}
    whole = MP3("out/album/Set-all.mp3")
    chapters = whole.tags.getall("CHAP")
    assert [str(chapter.sub_frames["TIT2"]) for chapter in chapters] == ["Anvil", "The Kettle"]
    assert chapters[1].start_time / 1000 == pytest.approx(tags[0].info.length + 1, abs=0.06)
    assert whole.info.length == pytest.approx(sum(one.info.length for one in tags) + 1, abs=0.12)
    rows = Path("out/album/Set.m3u8").read_text("utf-8").splitlines()
    assert [row for row in rows if not row.startswith("#")] == ["anvil.mp3", "kettle.mp3"]
    # another order: the same sound with another number, and no byte different from a new book
    before = Path("out/album/kettle.mp3").read_bytes()
    listed("title: Set\nkettle.txt\nanvil.txt\n")
    from unittest.mock import patch

    with patch("backing.output.sound.audio.write_outputs", side_effect=AssertionError):
        assert book(*make, source=source) == 0
    after = Path("out/album/kettle.mp3").read_bytes()
    assert str(MP3("out/album/kettle.mp3")["TRCK"]) == "1/2"
    assert after[-5000:] == before[-5000:]
    shutil.move("out", "renewed")
    assert book(*make, source=source) == 0
    assert seen(Path("out")) == seen(Path("renewed"))


def test_every_key_and_tempo_is_a_file_with_its_name() -> None:
    source = listed("'kite 2.txt'\n")
    assert book("--make", "mid,pdf", "--keys", "C F#", "--tempos", "60:100:40", source=source) == 0
    assert {p for p in seen(Path("out")) if "/" in p} == {
        "midi/kite 2-C-60.mid", "midi/kite 2-C-100.mid", "midi/kite 2-Fsharp-60.mid", "midi/kite 2-Fsharp-100.mid",
        "sheets/kite 2-C.pdf", "sheets/kite 2-Fsharp.pdf",
    }  # fmt: skip
    import mido

    slow, fast = (mido.MidiFile(f"out/midi/kite 2-C-{n}.mid").length for n in (60, 100))
    assert slow - 4 == pytest.approx((fast - 4) / 0.6, rel=0.02)  # without the ring of four seconds
    with pdfplumber.open("out/sheets/kite 2-Fsharp.pdf") as pdf:
        assert "F♯ minor" in pdf.pages[0].extract_text()


def test_the_contents_page_lists_every_file_and_needs_no_network() -> None:
    assert book("--make", "mid,txt") == 0
    page = Path("out/index.html").read_text("utf-8")
    told = json.loads(Path("out/contents.json").read_text("utf-8"))
    paths = {f["path"] for tune in told["tunes"] for f in tune["files"]}
    assert paths | {"index.html", "contents.json"} == set(seen(Path("out")))
    assert {path.replace(" ", "%20") for path in paths} == set(re.findall(r'href="([^"]+)"', page))
    assert "Élan &amp; Kite" in page
    assert "B♭ major" in page
    assert "headphones low" in page
    assert not re.search(r"https?://", page)
    assert LOG in {p.name for p in Path("out").iterdir()}


def test_a_lesson_of_each_tune_is_among_the_kinds(monkeypatch: pytest.MonkeyPatch) -> None:
    """With little in it, for it takes a while: what a lesson holds is tested elsewhere."""
    import zipfile

    from backing.commands import choices

    little = choices.Choices(
        (), False, False, False, False, False, "mp3", False, ("concert",), False
    )
    monkeypatch.setattr("backing.commands.choices.Choices", lambda: little)
    assert book("--make", "lesson", source=listed("anvil.txt\n")) == 0
    with zipfile.ZipFile("out/lessons/anvil.zip") as archive:
        assert {"anvil.pdf", "anvil.mid", "index.html"} <= set(archive.namelist())


# a set


def test_a_set_is_practised_through_as_one_track(capsys: pytest.CaptureFixture[str]) -> None:
    source = listed("title: Set\nanvil.txt --only bass\nkettle.txt --key D\n", "charts/set.txt")
    line = f"rehearse {source} -o set.mid -o set.json --ladder 80:100:20 --passes 1".split()
    assert run(line) == 0
    told = capsys.readouterr().err.splitlines()
    assert [row.strip() for row in told if row in ("Anvil", "The Kettle")] == [
        "Anvil",
        "The Kettle",
    ]
    import mido

    file = mido.MidiFile("set.mid")
    marked = [m.text for track in file.tracks for m in track if m.type == "marker"]
    assert [words for words in marked if words.endswith("%")] == [
        "Anvil, 1: 80 %",
        "Anvil, 2: 100 %",
        "The Kettle, 1: 80 %",
        "The Kettle, 2: 100 %",
    ]
    timeline = json.loads(Path("set.json").read_text("utf-8"))
    assert timeline["title"] == "Set"
    roots = [chord["root"] for chord in timeline["chords"]]
    assert roots == [*"CGC" * 2, *"DAD" * 2]  # each with its last bar
    assert run(["rehearse", source, "-o", "set.pdf"]) == 2
    assert "backing book prints them" in capsys.readouterr().err
    assert (
        run(
            [
                "rehearse",
                source,
                "-o",
                "part.mid",
                "--ladder",
                "100:100:5",
                "--passes",
                "1",
                "--split",
            ]
        )
        == 0
    )
    assert {p.name for p in Path().glob("part*")} == {
        "part-01-Anvil-01-100.mid",
        "part-02-The-Kettle-01-100.mid",
    }


def test_a_lesson_of_several_tunes_has_one_index() -> None:
    source = listed("title: Two\nanvil.txt\nkettle.txt --key D\n")
    assert run(["lesson", source, "-o", "two", "--choices", choices_of_a_lesson(), "--quiet"]) == 0
    found = {p.relative_to("two").as_posix() for p in Path("two").rglob("*") if p.is_file()}
    for stem in ("anvil", "kettle-D"):
        assert {f"{stem}/{stem}.pdf", f"{stem}/{stem}.mid"} <= found
    index = Path("two/index.html").read_text("utf-8")
    assert re.findall(r"<h2>([^<]+)</h2>", index) == [
        "Anvil: To read", "Anvil: For other programs", "The Kettle: To read", "The Kettle: For other programs",
    ]  # fmt: skip
    assert set(re.findall(r'href="([^"]+)"', index)) == found - {"index.html", "contents.json", LOG}


def test_a_chart_is_no_list() -> None:
    from backing.commands.book.listing import is_list

    listed("# set\ntitle: Set\n[A]\n'kite 2.txt' --key D\n", "charts/set.txt")
    assert is_list(Path("charts/set.txt"))
    assert is_list(Path("charts"))
    assert not is_list(Path("charts/anvil.txt"))
    assert not is_list(Path("-"))
    listed("# set\nnone.txt\n", "charts/none-set.txt")
    assert not is_list(Path("charts/none-set.txt"))
