"""The practice page: one HTML file that shows the chords, sounds, and needs no network.

Conventions: seconds count from the first sample of the sound, count-in included, as in the timeline file; `q` are
quarters from a bar line; a shift is semitones from the written key, -6 to 6. The click is not among the sounds: the
page strikes it itself, at any tempo. The page's parts lie in the folder of the same name; its scripts are ES modules
that are joined here in the order of `SCRIPTS`.
"""

from __future__ import annotations

import base64
import html
import json
import os
import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from backing.chart.ast import Chart
from backing.harmony.chord import Chord
from backing.harmony.spelling import interval_for_semitones, transpose
from backing.harmony.symbol import SymbolError, read
from backing.instruments import UNPITCHED
from backing.marks import moved_key
from backing.out import opus
from backing.out.audio import Output, write_outputs
from backing.out.files import MARK, claim, write_bytes
from backing.out.symbols import note, parts
from backing.performance import Performance
from backing.pitch import Key
from backing.timeline import ChordSpan, PlayedBar, Timeline

PARTS = Path(__file__).parent / "page"
SCRIPTS = ("time.js", "sound.js", "rows.js", "sheet.js", "speak.js", "controls.js", "main.js")
WORKER = ("slices.js", "resample.js", "studio.js")
STRETCH = "vendor/signalsmith-stretch-1.3.2.mjs"
DECODER = "vendor/opus-decoder-0.7.12.min.js"
STRETCH_ENDS = "function registerWorkletProcessor"  # what follows is for another use of the library
SHIFTS = range(-6, 7)

# kbit/s a player: what keeps cymbals and strings clean, and all together three minutes in less than 8 MB.
KBPS = {"drums": 56, "percussion": 48, "bass": 36}
USUAL_KBPS = 48
MONO = ("bass",)  # it stands in the middle, and one channel is stretched in half the time
MOST_KBPS = 212
NOTE_SIGNS = {
    Fraction(1, 2): "♪",
    Fraction(1): "♩",
    Fraction(3, 2): "♩.",
    Fraction(2): "half note",
}
SAID = {
    "♭": " flat ",
    "♯": " sharp ",
    "𝄫": " double flat ",
    "𝄪": " double sharp ",
    "♮": " natural ",
}

Progress = Callable[[float, str], None]
Stems = Mapping[str, Path]


def silent(share: float, words: str) -> None:
    """No progress is shown."""


def write(
    performance: Performance,
    chart: Chart,
    path: str | os.PathLike[str],
    *,
    stems: Stems | None = None,
    soundfont: str | os.PathLike[str] | None = None,
    loudness: float = -16.0,
    a4: float = 440.0,
    signs: bool = False,
    force: bool = False,
    progress: Progress = silent,
) -> Path:
    """Write the page. `stems` are sound files by role, from the first sample of the tune; without them they are rendered.

    Raises `OutputError`, `AudioUnavailable`.
    """
    target = Path(path)
    claim(target, force=force)
    if stems is not None:
        sounds = encoded(stems)
    else:
        with TemporaryDirectory(prefix="backing-") as folder:
            rendered = {r: Path(folder) / f"{r}.wav" for r in sounding(performance)}
            write_outputs(
                performance,
                [Output(p, frozenset({r})) for r, p in rendered.items()],
                soundfont=soundfont,
                loudness=loudness,
                a4=a4,
                force=True,
                progress=lambda share, words: progress(0.8 * share, words),
            )
            sounds = encoded(rendered)
    progress(0.95, "writing")
    write_bytes(
        target, text(page_data(performance, chart, sounds, signs), sounds).encode(), force=force
    )
    progress(1.0, "done")
    return target


def sounding(performance: Performance) -> list[str]:
    """The players whose sound is in the page: all but the click."""
    return [p.role for p in performance.players if p.voices and p.role != "click"]


def encoded(stems: Stems) -> dict[str, opus.Packets]:
    """Every stem as packets, several at a time."""
    wanted = {role: KBPS.get(role, USUAL_KBPS) for role in stems}
    scale = min(1.0, MOST_KBPS / max(1, sum(wanted.values())))
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        done = pool.map(
            lambda r: opus.encode(Path(stems[r]), round(wanted[r] * scale), mono=r in MONO), stems
        )
        return dict(zip(stems, done, strict=True))


def page_data(
    performance: Performance, chart: Chart, sounds: Mapping[str, opus.Packets], signs: bool = False
) -> dict[str, Any]:
    """What the page's scripts know of the tune, as plain JSON values."""
    timeline = performance.arrangement.timeline
    tempo = performance.tempo
    table = _Symbols(timeline, signs)

    def at_s(q: Fraction) -> float:
        return round(tempo.seconds(q), 6)

    bars = timeline.bars
    return {
        "title": timeline.title or "Untitled",
        "by": timeline.by,
        "line": line_of(performance),
        "duration": round(performance.duration_s, 6),
        "countIn": round(performance.count_in_s, 6),
        "clicks": count_in_clicks(performance),
        "keys": [key_name(_moved(bars[0].key, shift)) for shift in SHIFTS],
        "sections": section_data(timeline),
        "choruses": timeline.choruses,
        "bars": [bar_data(bar, performance) for bar in bars],
        "chords": [
            {
                "bar": span.bar - 1,
                "q": float(span.start_q - bars[span.bar - 1].start_q),
                "start": at_s(span.start_q),
                "end": at_s(span.end_q),
                "held": span.held or span.again,
                "symbol": table.number(span, bars[span.bar - 1]),
            }
            for span in timeline.chords
        ],
        "symbols": table.rows,
        "parts": table.shown,
        "players": [
            {
                "role": role,
                "name": instruments_of(performance, role),
                "pitched": role not in UNPITCHED,
                "channels": sound.channels,
                "skip": sound.skip,
                "frames": sound.frames,
                "onsets": strokes(performance, role) if role in UNPITCHED else None,
            }
            for role, sound in sounds.items()
        ],
    }


def section_data(timeline: Timeline) -> list[dict[str, Any]]:
    """The form as played; `time` counts the playings of a section within its chorus."""
    times: Counter[tuple[str, int]] = Counter()
    rows = []
    for s in timeline.sections:
        times[s.name, s.chorus] += 1
        rows.append(
            {
                "name": s.name,
                "time": times[s.name, s.chorus],
                "chorus": s.chorus,
                "first": s.first - 1,
                "last": s.last - 1,
            }
        )
    return rows


def bar_data(bar: PlayedBar, performance: Performance) -> dict[str, Any]:
    """A bar: where it lies in the sound, how long it is in quarters, and where its counted beats fall."""
    tempo = performance.tempo
    beats = []
    at = bar.start_q
    while at < bar.end_q:
        beats.append(round(tempo.seconds(at), 6))
        at += bar.meter.beat_q
    return {
        "number": bar.number,
        "line": bar.line,
        "section": bar.section_index,
        "meter": bar.meter.name,
        "q": float(bar.length_q),
        "beatQ": float(bar.meter.beat_q),
        "groups": [float(q / bar.meter.beat_q) for q in bar.meter.group_starts_q],
        "start": round(tempo.seconds(bar.start_q), 6),
        "end": round(tempo.seconds(bar.end_q), 6),
        "beats": beats,
    }


def count_in_clicks(performance: Performance) -> list[list[float]]:
    """The strokes before the tune begins: seconds and strength from 0 to 1."""
    return [
        [round(n.onset_s, 6), round(n.velocity / 127, 3)]
        for p in performance.players
        if p.role == "click"
        for n in p.notes
        if n.onset_s < performance.count_in_s - 1e-6
    ]


def strokes(performance: Performance, role: str) -> list[float]:
    """When an unpitched player strikes, in seconds; the page cuts its sound there to play it at another tempo."""
    return sorted(
        {round(n.onset_s, 4) for p in performance.players if p.role == role for n in p.notes}
    )


def instruments_of(performance: Performance, role: str) -> str:
    """What a player plays: `jazz guitar`, or several joined where the style changes."""
    for player in performance.players:
        if player.role == role:
            return ", ".join(dict.fromkeys(v.instrument.name for v in player.voices))
    return role


def line_of(performance: Performance) -> str:
    """The one plain line under the title: style, tempo, key, and what a guitar has to know."""
    timeline = performance.arrangement.timeline
    first = timeline.bars[0]
    beat_q = first.meter.beat_q if not first.meter.counted_in_eighths else Fraction(1)
    qpm = 60_000_000 / performance.tempo.us_at(first.start_q)
    words = [
        performance.arrangement.style.name,
        f"{NOTE_SIGNS.get(beat_q, '♩')} = {qpm / float(beat_q):.4g}",
        key_name(first.key) + (" minor" if first.key.minor else " major"),
    ]
    if timeline.capo:
        words.append(f"capo {timeline.capo}")
    if timeline.tuned:
        words.append(f"guitar tuned {'down' if timeline.tuned < 0 else 'up'} {abs(timeline.tuned)}")
    return ", ".join(words)


def key_name(key: Key) -> str:
    """The tonic with its sign: `E♭`."""
    return note(key.tonic)


class _Symbols:
    """Every chord of the tune in all keys: rows of numbers into a list of symbols taken apart."""

    def __init__(self, timeline: Timeline, signs: bool) -> None:
        self._as_written = bool(timeline.capo or timeline.tuned)
        self._signs = signs
        self._numbers: dict[tuple[Chord, Key], int] = {}
        self._seen: dict[tuple[object, ...], int] = {}
        self.rows: list[list[int]] = []
        self.shown: list[dict[str, Any]] = []

    def number(self, span: ChordSpan, bar: PlayedBar) -> int:
        """The row of a chord, -1 where none sounds."""
        chord = self._chord(span)
        if chord is None:
            return -1
        found = self._numbers.get((chord, bar.key))
        if found is None:
            found = self._numbers[chord, bar.key] = len(self.rows)
            self.rows.append([self._part(_transposed(chord, bar.key, n)) for n in SHIFTS])
        return found

    def _chord(self, span: ChordSpan) -> Chord | None:
        """What a player reads: with a capo or another tuning the shapes that were typed."""
        if not self._as_written or span.chord is None:
            return span.chord
        try:
            return read(span.written) or span.chord
        except SymbolError:
            return span.chord

    def _part(self, chord: Chord) -> int:
        p = parts(chord, self._signs)
        shown = {
            "root": p.root,
            "sign": p.accidental,
            "quality": p.quality,
            "high": p.extension + p.word,
            "alter": list(p.alterations),
            "bass": p.bass,
            "bassSign": p.bass_accidental,
            "said": said(chord),
        }
        key = tuple(map(str, shown.values()))
        if key not in self._seen:
            self._seen[key] = len(self.shown)
            self.shown.append(shown)
        return self._seen[key]


def said(chord: Chord) -> str:
    """A chord for a voice: `B flat m7 flat 5 over D`."""
    p = parts(chord)
    whole = p.root + p.accidental + " " + p.quality + p.extension + " " + p.word + " "
    whole += " ".join(p.alterations)
    if p.bass:
        whole += f" over {p.bass}{p.bass_accidental}"
    for sign, word in SAID.items():
        whole = whole.replace(sign, word)
    return " ".join(whole.split())


def _moved(key: Key, shift: int) -> Key:
    return moved_key(key, interval_for_semitones(key, shift))[0]


def _transposed(chord: Chord, key: Key, shift: int) -> Chord:
    there, way = moved_key(key, interval_for_semitones(key, shift))
    return transpose(chord, way, there)


def text(data: Mapping[str, Any], sounds: Mapping[str, opus.Packets]) -> str:
    """The page as one text."""
    fill = {
        "mark": MARK,
        "title": html.escape(str(data["title"])),
        "style": _read("page.css").replace("{{fonts}}", _fonts()),
        "data": script_safe(json.dumps(data, ensure_ascii=False, separators=(",", ":"))),
        "stems": "\n".join(_stem(role, sound) for role, sound in sounds.items()),
        "licences": script_safe(_read("vendor/LICENCES.txt")),
        "stretch": base64_of(stretch_library().encode()),
        "decoder": base64_of((PARTS / DECODER).read_bytes()),
        "studio": base64_of(joined([_read(name) for name in WORKER]).encode()),
        "script": script_safe(joined([_read(name) for name in SCRIPTS])),
    }
    return re.sub(r"\{\{(\w+)\}\}", lambda found: fill[found[1]], _read("page.html"))


def joined(modules: Sequence[str]) -> str:
    """ES modules as one: imports and the word `export` go, since all names share one scope."""
    whole = "\n".join(modules)
    whole = re.sub(r"^import\b[^;]*;\n?", "", whole, flags=re.M)
    whole = re.sub(r"^export (?=(?:async )?(?:function|const|class|let)\b)", "", whole, flags=re.M)
    return f'(() => {{\n"use strict";\n{whole}\n}})();'


def script_safe(text: str) -> str:
    """Text that no script element ends inside of (HTML standard, restrictions for contents of script elements)."""
    return re.sub(r"<(?=/script|!--|script)", r"\\u003c", text, flags=re.I)


def stretch_library() -> str:
    """The stretching library without its audio worklet, behind one name."""
    library = _read(STRETCH).split(STRETCH_ENDS)[0]
    return f"const SignalsmithStretch = (() => {{\n{library}\nreturn SignalsmithStretch;\n}})();"


def base64_of(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _stem(role: str, sound: opus.Packets) -> str:
    sizes = json.dumps([len(p) for p in sound.packets], separators=(",", ":"))
    return (
        f'<script type="text/plain" id="stem-{role}" data-sizes="{sizes}">'
        f"{base64_of(b''.join(sound.packets))}</script>"
    )


def _fonts() -> str:
    faces = (
        ("Chart", 400, "inter-regular.woff2"),
        ("Chart", 700, "inter-bold.woff2"),
        ("Signs", 400, "noto-music.woff2"),
    )
    return "\n".join(
        f"@font-face{{font-family:{family};font-weight:{weight};font-display:block;"
        f"src:url(data:font/woff2;base64,{base64_of((PARTS / name).read_bytes())})format('woff2')}}"
        for family, weight, name in faces
    )


def _read(name: str) -> str:
    return (PARTS / name).read_text(encoding="utf-8")
