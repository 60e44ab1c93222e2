"""A chart as words with chords in them, for those who sing: ChordPro text.

Conventions: a chord stands before the syllable that it comes with; where words and notes do not say which, the chords of a
bar share its words. Each verse is written out; a section that comes again is named. *Source*: ChordPro 6.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence

from backing.chart.ast import Bar, Chart, MusicLine, Section
from backing.ground.timebase import FOUR_FOUR
from backing.output.files import MARK, write_text
from backing.output.left_out import marks
from backing.output.words_sung import syllables

KEPT = ("title", "by", "key", "meter", "tempo", "capo", "form")  # of the header
KINDS = {"chorus": "chorus", "refrain": "chorus", "bridge": "bridge"}


def write(chart: Chart, path: str | os.PathLike[str], *, force: bool = False) -> None:
    """Write the words. Raises `OutputError`."""
    write_text(path, text(chart), force=force)


def text(chart: Chart) -> str:
    """The words with their chords."""
    lines = [f"# {MARK}", *_head(chart)]
    done: set[str] = set()
    for name in _played(chart):
        kind = _kind(name)
        if name in done:
            lines += ["", "{chorus}" if kind == "chorus" else f"{{comment: {name}}}"]
            continue
        done.add(name)
        section = chart.section(name)
        verses = max(1, max((len(b.words) for b in section.bars), default=1))
        for verse in range(verses):
            label = f": {name}" if name and name.casefold() != kind else ""
            lines += ["", f"{{start_of_{kind}{label}}}"]
            lines += _section(section, verse)
            lines.append(f"{{end_of_{kind}}}")
    return "\n".join(lines) + "\n"


def _played(chart: Chart) -> list[str]:
    """The sections as one chorus plays them."""
    return [item.section for item in chart.header.form or ()] or list(chart.order)


def _kind(name: str) -> str:
    first = re.match(r"[a-z]*", name.casefold())
    return KINDS.get(first[0] if first else "", "verse")


def _head(chart: Chart) -> Iterator[str]:
    header, settings = chart.header, chart.settings
    left = [f"{w.name} {w.value}" for w in chart.written if w.name not in KEPT]
    if any(b.melody for s in chart.sections for b in s.bars):
        left.append("the melody")
    left += marks(chart)
    if left:
        yield f"# not in this format: {'; '.join(left)}"
    yield f"{{title: {_safe(header.title) or 'Untitled'}}}"
    if header.by:
        yield f"{{artist: {_safe(header.by)}}}"
    if settings.key:
        yield f"{{key: {settings.key.short_name}}}"
    meter = settings.meter or FOUR_FOUR
    yield f"{{time: {meter.name}}}"
    if settings.tempo:
        yield f"{{tempo: {float(settings.tempo.bpm):g}}}"
    if header.capo:
        yield f"{{capo: {header.capo}}}"


def _safe(text: str) -> str:
    return text.replace("{", "(").replace("}", ")")


def _section(section: Section, verse: int) -> Iterator[str]:
    for line in section.lines:
        for said in (t for bar in line.bars for t in bar.texts):
            yield f"{{comment: {_safe(said.text)}}}"
        yield _line(line, verse)


def _line(line: MusicLine, verse: int) -> str:
    """A line of music: chords before their words, or alone between bar lines where nobody sings."""
    sung = [bar.words[verse] if verse < len(bar.words) else "" for bar in line.bars]
    if not any(sung):
        return (
            "| "
            + " | ".join(" ".join(f"[{s}]" for s in _symbols(b)) or "/" for b in line.bars)
            + " |"
        )
    out = ""
    for bar, words in zip(line.bars, sung, strict=True):
        piece = _bar(bar, words)
        joined = bool(out) and not out.endswith("-")
        out = out.removesuffix("-") + (" " if joined else "") + piece
    return out.removesuffix("-").replace("[ ", "[")


def _symbols(bar: Bar) -> list[str]:
    return [s.text or "N.C." for s in bar.slots if not s.held]


def _bar(bar: Bar, words: str) -> str:
    """The words of a bar with its chords in them; a word that goes on into the next bar ends in a dash."""
    slots = [s for s in bar.slots if not s.held]
    begun = [n for n in bar.melody or () if n.pitch and not n.held]
    if begun and words:
        pieces = syllables(words, len(begun))
        places = [n.start_q for n in begun]
        texts = [p.text + "-" * p.more for p in pieces]
    else:
        texts = words.split()
        places = [bar.length_q * i / max(1, len(texts)) for i in range(len(texts))]
    at = [next((i for i, p in enumerate(places) if p >= s.start_q), len(texts)) for s in slots]
    return _woven(texts, [(i, s.text or "N.C.") for i, s in zip(at, slots, strict=True)])


def _woven(texts: Sequence[str], chords: Sequence[tuple[int, str]]) -> str:
    out = ""
    for i, word in enumerate([*texts, ""]):
        signs = "".join(f"[{symbol}]" for place, symbol in chords if place == i)
        if not signs and not word:
            continue
        inside = out.endswith("-")
        gap = "" if not out or inside else " "
        out = out.removesuffix("-") + gap + signs + word
    return out
