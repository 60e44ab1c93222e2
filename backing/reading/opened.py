"""One door for every format: the bytes of a file to its chart.

Conventions: the ending of the name says the format, where it says nothing the first bytes do. A reader is loaded when a
file asks for it.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import PurePath

from backing.chart.ast import LETTERS, Chart
from backing.chart.codes import count
from backing.chart.parse import UnknownStyle, decode, parse
from backing.ground.errors import ChartError
from backing.ground.source import Span
from backing.reading.asked import NOTATIONS, PLAIN, Reading
from backing.reading.findings import Findings

ASSUMED = ("W701", "W702", "W703", "W704", "W705", "W706", "W707", "W708", "W709")
MOST_BYTES = 4_000_000  # of a file that is read
MOST_PAGE = 100_000  # of text that is looked through for chords over words
Read = Callable[[bytes, str, Reading], Chart]


def _abc(data: bytes, name: str, asked: Reading) -> Chart:
    from backing.reading import abc

    return abc.read(text_of(data, name), name, asked.tune_number)


def _musicxml(data: bytes, name: str, asked: Reading) -> Chart:
    from backing.reading import musicxml

    return musicxml.read(data, name)


def _words(data: bytes, name: str, asked: Reading) -> Chart:
    from backing.reading import words

    return words.read(text_of(data, name), name, asked.bars_per_line)


def _midi(data: bytes, name: str, asked: Reading) -> Chart:
    from backing.reading import midi

    return midi.read(data, name, asked.track)


FORMATS: dict[str, Read] = {
    ".abc": _abc,
    ".musicxml": _musicxml,
    ".xml": _musicxml,
    ".mxl": _musicxml,
    ".mid": _midi,
    ".midi": _midi,
    ".cho": _words,
    ".chordpro": _words,
    ".chopro": _words,
}
BY_NAME = {"words": _words, "abc": _abc, "musicxml": _musicxml}  # what may be asked for
READABLE = (".txt", *FORMATS)


def opened(
    data: bytes,
    name: str,
    asked: Reading = PLAIN,
    *,
    wanted: bool = False,
    unknown_style: UnknownStyle = lambda style: None,
) -> Chart:
    """The chart of a file. With `wanted` it may lack chords, which stand as `?`. Raises `ChartError`, `RequestError`."""
    read = format_of(data, name, asked)
    if read is None:
        chords = asked.read_as if asked.read_as in NOTATIONS else LETTERS
        chart = parse(
            decode(data, name), name, wanted=wanted, unknown_style=unknown_style, chords=chords
        )
        if chords != LETTERS and chart.settings.chords is None:
            from backing.chart.notation import told

            chart = told(chart, chords)  # so that it is read again when it is written
        return chart
    chart = read(data, name, asked)
    lacking = next(
        (s for section in chart.sections for b in section.bars for s in b.slots if s.wanted), None
    )
    if lacking and not wanted:
        raise _without_chords(chart, lacking.span)
    return chart


def understood(chart: Chart) -> str:
    r"""What was read of a file in another format, in one line; "" of a chart in plain text.

    >>> understood(opened(b"X:1\nM:4/4\nL:1/4\nK:C\n\"C\"CDEF|\"G\"G4|\n", "a.abc"))
    'read from a.abc: 2 bars, 5 notes, 2 chords'
    """
    if not chart.source.foreign:
        return ""
    bars = [bar for section in chart.sections for bar in section.bars]
    notes = sum(1 for b in bars for n in b.melody or () if n.pitch and not n.held)
    chords = sum(1 for b in bars for s in b.slots if s.chord and not s.held)
    verses = max((len(b.words) for b in bars), default=0)
    counts = (
        (len(chart.sections), "section"),
        (len(bars), "bar"),
        (notes, "note"),
        (chords, "chord"),
        (verses, "verse"),
    )
    told = [count(number, noun) for number, noun in counts if number > (noun == "section")]
    codes = [d.code for d in chart.warnings]
    assumed = sum(c in ASSUMED for c in codes)
    left = codes.count("W710")
    more = [f"{assumed} assumed or changed"] * bool(assumed) + [f"{left} left out"] * bool(left)
    words = f"read from {chart.source.name}: {', '.join(told)}"
    return f"{words}; {', '.join(more)} (above)" if more else words


def format_of(data: bytes, name: str, asked: Reading = PLAIN) -> Read | None:
    """The reader of a file, None for a chart in plain text."""
    if asked.read_as in NOTATIONS:
        return None
    if asked.read_as in BY_NAME:
        return BY_NAME[asked.read_as]
    return FORMATS.get(PurePath(name).suffix.lower()) or _by_content(data)


def _by_content(data: bytes) -> Read | None:
    if data.startswith((b"X:", b"%abc", b"\xef\xbb\xbfX:")):
        return _abc
    if data.startswith(b"MThd"):
        return _midi
    if b"<score-partwise" in data[:4000] or (data.startswith(b"PK") and b"META-INF" in data):
        return _musicxml
    if b"\0" in data[:4096] or len(data) > MOST_PAGE or (b"|" in data and b"{" not in data):
        return None  # most charts, for which nothing more need be loaded
    from backing.reading.words import looks_like_words

    return _words if looks_like_words(data.decode("utf-8", "replace")) else None


def _without_chords(chart: Chart, span: Span) -> ChartError:
    findings = Findings(chart.source)
    wrong = findings.refuse("E703", span)
    return ChartError([*chart.warnings, *wrong.diagnostics])


def text_of(data: bytes, name: str) -> str:
    """The text of a file in UTF-8, or in Latin-1 as older programs wrote it. Raises `ChartError` for what is no text."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        if b"\0" in data[:4096]:
            return decode(data, name)
        return data.decode("latin-1")
