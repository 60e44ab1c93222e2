"""Text to `Chart`, or every mistake in it.

    >>> chart = parse("key: G\\n| G | C D7 |")
    >>> [[slot.text for slot in bar.slots] for bar in chart.sections[0].bars]
    [['G'], ['C', 'D7']]

Conventions: lines may end in any of the three ways, which count as one character; a byte order mark is no character.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from backing.chart import form, settings, steering
from backing.chart.ast import LETTERS, Chart, Comment, Header, Section, Settings
from backing.chart.codes import CODES, Faults, TooMany, near, quoted
from backing.chart.foreign import PLAIN, Foreign, seems
from backing.chart.lex import CONTROL, Kind, Line, invisible, lines, plain, wide
from backing.chart.piece import Piece
from backing.chart.sections import Reader, TooLong
from backing.ground.errors import ChartError
from backing.ground.pitch import Key
from backing.ground.source import Diagnostic, Source, Span
from backing.ground.timebase import FOUR_FOUR, Meter

MOST_BYTES = 1_000_000
_SHARED = frozenset(Settings._fields)

# what is wrong with the name of a style, as a sentence and a hint; None where there is such a style
UnknownStyle = Callable[[str], tuple[str, str] | None]


def parse(
    text: str,
    name: str = "<chart>",
    *,
    german: bool = False,
    wanted: bool = False,
    unknown_style: UnknownStyle = lambda style: None,
    chords: str = LETTERS,
) -> Chart:
    """Read a chart; `german` is how notes and `chords` how chords are written where the chart does not say, and with `wanted` a `?` may stand for
    a chord that is still to be found (`Slot.wanted`). Raises `ChartError` with all mistakes.

    `unknown_style` looks for the styles that are named; without it they are taken as they are.
    """
    chart, found = parse_all(
        text, name, german=german, wanted=wanted, unknown_style=unknown_style, chords=chords
    )
    if chart is None:
        raise ChartError(found)
    return chart


def parse_all(
    text: str,
    name: str = "<chart>",
    *,
    german: bool = False,
    wanted: bool = False,
    unknown_style: UnknownStyle = lambda style: None,
    chords: str = LETTERS,
) -> tuple[Chart | None, tuple[Diagnostic, ...]]:
    """The chart, None if it has mistakes, and all diagnostics in text order, warnings among them."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    faults = Faults(Source(name, text))
    chart = None
    try:
        if _is_text(text, faults):
            chart = _Parser(text, faults, german, wanted, unknown_style, chords).chart()
    except (TooMany, TooLong):
        pass
    return (None if faults.wrong else chart), faults.in_order()


def decode(data: bytes, name: str = "<chart>") -> str:
    """The text of a file in UTF-8. Raises `ChartError` for anything else, saying what it seems to be."""
    found = seems(data)
    if found is None:
        try:
            return data.decode("utf-8")
        except UnicodeDecodeError as wrong:
            at = f"byte {wrong.start + 1} is {data[wrong.start]:#04x}"
            found = Foreign(f"text in another encoding ({at})", PLAIN)
    sentence, _ = CODES["E903"]
    raise ChartError(
        [
            Diagnostic(
                "E903", sentence.format(what=found.what), found.hint, Span(0, 0), Source(name, "")
            )
        ]
    )


def _is_text(text: str, faults: Faults) -> bool:
    """Whether the text is one that can be read at all."""
    size = len(text) if text.isascii() else len(text.encode("utf-8", "surrogatepass"))
    if size > MOST_BYTES:
        faults.add("E901", 0, 0, most="1 MB", count=f"{size / 1_000_000:.1f} MB")
        return False
    if "\0" in text[:4096]:
        faults.add("E903", 0, 0, what="a binary file")
        return False
    ordinary = text.replace("\n", "").replace("\r", "").replace("\t", "")
    if not ordinary.isprintable():
        for found in re.finditer(CONTROL, text):
            faults.add("E904", *found.span(), found=f"the control character U+{ord(found[0]):04X}")
    return True


@dataclass(slots=True, eq=False, repr=False)
class _Block:
    """A heading with the lines under it; the first block of a chart has no heading."""

    name: str
    span: Span
    settings: list[Line] = field(default_factory=list)
    music: list[Line] = field(default_factory=list)
    spoilt: bool = False  # it holds music that could not be read as such

    def add(self, line: Line) -> None:
        self.span = self.span.to(Span(line.start, line.end))


class _Parser:
    def __init__(
        self,
        text: str,
        faults: Faults,
        german: bool,
        wanted: bool,
        unknown_style: UnknownStyle,
        chords: str,
    ) -> None:
        self.typed, self.plain, self.faults, self.german = text, plain(text), faults, german
        self.latin = False
        self.wanted, self.unknown_style, self.chords = wanted, unknown_style, chords
        self.directions: list[steering.Seen] = []  # those that stand alone on a line

    def chart(self) -> Chart:
        found, comments = lines(self.plain)
        wide(self.typed, found, self.faults)
        settings.sharp_keys(found, comments, self.plain, self.faults)
        blocks = self._blocks(found)
        head, blocks = blocks[0], blocks[1:] if not blocks[0].music else blocks
        header = self._settings(head.settings, None)
        names = tuple(dict.fromkeys(b.name for b in blocks if b.music))
        meter = header.values.get("meter", FOUR_FOUR)
        assert isinstance(meter, Meter)
        pickup = self._pickup(header, blocks, meter)
        piece = Piece(
            self.plain, self.typed, self.faults, self.german, pickup, self.wanted, self.latin
        )
        sections = self._sections(blocks, head, piece, meter, header)
        if not sections and not self.faults.wrong:
            self.faults.add("E301", 0, 0)
        order = tuple(b.name for b in blocks if b.music or b.name in names)
        written_form = next((w for w in header.written if w.name == "form"), None)
        if written_form:
            start, end = written_form.value_span.start, written_form.value_span.end
            played = form.read(self.plain[start:end], start, names, self.faults)
            header.values["form"], header.values["form_repeats"] = played.items, played.repeats
            if played.whole:
                self._unplayed(played, sections)
        coda = next((s.span.start for n, s in sections.items() if n.casefold() == "coda"), -1)
        seen = sorted([*piece.seen, *self.directions], key=lambda one: one.start)
        steering.check(seen, written_form is not None, self.faults, coda)
        own = {k: v for k, v in header.values.items() if k not in _SHARED}
        shared = {k: v for k, v in header.values.items() if k in _SHARED}
        return Chart(
            source=self.faults.source,
            header=Header(**own),  # type: ignore[arg-type]
            settings=Settings(**shared),  # type: ignore[arg-type]
            sections=tuple(sections.values()),
            order=order,
            written=header.written,
            comments=tuple(Comment(self.typed[a:b], Span(a, b), alone) for a, b, alone in comments),
            warnings=self.faults.in_order(),
            headings=tuple(b.span for b in blocks if b.music or b.name in names),
        )

    def _settings(self, found: list[Line], section: str | None) -> settings.Read:
        if section is None:
            for line in found:
                if line.name == "note-names":
                    value = self.plain[line.value : line.end].casefold()
                    if value in ("german", "english", "latin"):
                        self.german, self.latin = value == "german", value == "latin"
        read = settings.read(
            found, self.plain, self.typed, self.faults, section, self.german, self.latin
        )
        for one in read.written:
            fault = self.unknown_style(one.value) if one.name == "style" else None
            if fault:
                self.faults.add("E230", *one.value_span, message=fault[0], hint=fault[1])
        return read

    def _pickup(self, header: settings.Read, blocks: list[_Block], meter: Meter) -> Fraction | None:
        """The length of the pickup in counted beats, None where there is none."""
        beats = header.values.get("pickup_beats")
        if not isinstance(beats, Fraction):
            return None
        if blocks and blocks[0].name:
            for line in blocks[0].settings:
                if line.name == "meter":
                    read = settings.read(
                        [line], self.plain, self.typed, Faults(self.faults.source), "", self.german
                    )
                    meter = read.values.get("meter", meter)  # type: ignore[assignment]
        if beats * meter.beat_q >= meter.length_q:
            where = next(w.value_span for w in header.written if w.name == "pickup")
            self.faults.add(
                "E127", where.start, where.end, pickup=beats, beats=f"{meter.beats} beats"
            )
            del header.values["pickup_beats"]
            return None
        return beats

    # --- headings

    def _blocks(self, found: list[Line]) -> list[_Block]:
        block = _Block("", Span(0, 0))
        blocks = [block]
        told = self._together(found)
        if told is None:
            return blocks
        for line in found:
            if line.kind is Kind.HEADING:
                block = self._heading(line)
                blocks.append(block)
            elif line.kind is Kind.SETTING:
                if block.music:
                    self._late(line)
                else:
                    block.settings.append(line)
            elif line.kind is Kind.OTHER:
                block.spoilt = line in told or self._other(line, block) or block.spoilt
            else:
                block.music.append(line)
            block.add(line)
        return blocks

    def _together(self, found: list[Line]) -> Collection[Line] | None:
        """The lines that are answered once for all, None of a text that is no chart at all; most often none."""
        odd = (Kind.OTHER, Kind.HEADING)
        if not any(one.kind in odd and self.plain[one.end - 1] != "]" for one in found):
            return ()
        from backing.chart import alone

        return alone.together(found, self.plain, self.faults)

    def _heading(self, line: Line) -> _Block:
        text, faults = self.plain, self.faults
        close = text.find("]", line.start, line.end)
        end = close if close >= 0 else line.end
        name = " ".join(self.typed[line.start + 1 : end].split())
        if close < 0 and name:
            faults.add("E302", line.start, line.end, name=name[:64].strip("| "))
        elif close + 1 < line.end:
            faults.add("E306", close + 1, line.end, hint=self._beside(name[:64], line, close + 1))
        hidden = invisible(name)
        bad = re.search(r"[()\[|\"<]", name)
        if not name:
            faults.add("E303", line.start, min(end + 1, line.end))
        elif hidden:
            faults.add("E905", line.start + 1, end, found=f"U+{ord(hidden[0]):04X}")
        elif close >= 0 and (bad or len(name) > 64):
            found = quoted(bad[0]) if bad else "more than 64 characters"
            faults.add("E308", line.start + 1, end, found=found)
        elif close >= 0:
            self._counted(name, line.start, end + 1)
        block = _Block(name[:64], Span(line.start, end + 1))
        block.spoilt = close >= 0 and "[" in text[close + 1 : line.end]
        if 0 <= close < line.end - 1 and "|" in text[close + 1 : line.end]:
            start = close + 1
            while text[start].isspace():
                start += 1
            block.music.append(Line(Kind.MUSIC, start, line.end))
        return block

    def _counted(self, name: str, start: int, end: int) -> None:
        """Warn of a count in the name of a section."""
        if not any(c.isdigit() for c in name) or not any(c in "xX×mM" for c in name):
            return
        from backing.chart.habits import without_count

        short = without_count(name)
        if short:
            hint = (
                f"name it  [{short}]  and write  [{short}]  again below its bars to play it again"
            )
            self.faults.add("W305", start, end, hint=hint)

    def _beside(self, name: str, line: Line, start: int) -> str:
        """What to do with what stands behind a heading."""
        from backing.chart import habits

        text = self.plain[start : line.end]
        number = habits.times(text)
        if number:
            return f"write  [{name}]  again below its bars for each time it is played again"
        if "[" in text and "|" not in text:
            return "chords stand between bar lines,  | C | G7 | , and what is sung under them:  words: | Night | falls |"
        return f"start a new line after [{name}]"

    def _late(self, line: Line) -> None:
        end = line.start + len(line.name)
        if line.name in settings.SETTINGS:
            hint = "move the line to the top of the chart"
            if not settings.SETTINGS[line.name].chart_only:
                hint = "begin a section above it with a heading, such as  [B] , or move it up to its heading"
            self.faults.add("E205", line.start, end, name=line.name, hint=hint)
        else:
            settings.unknown(line, self.plain, self.faults)

    def _other(self, line: Line, block: _Block) -> bool:
        """A line that is nothing: guess what it was meant to be; returns whether it was meant as music."""
        from backing.chart import alone

        last = next((one for one in reversed(block.music) if one.kind is Kind.MUSIC), None)
        above = self.plain[last.start : last.end] if last else ""
        meant, direction = alone.read(line, self.plain, self.faults, above)
        self.directions += [direction] if direction else []
        return meant

    # --- sections

    def _notation(self, piece: Piece, home: Mapping[str, object], own: settings.Read) -> None:
        """How the chords of a section are written, and in which key."""
        notation = own.values.get("chords", home.get("chords", self.chords))
        key = own.values.get("key", home.get("key"))
        piece.symbols.begin(str(notation), key if isinstance(key, Key) else None)

    def _sections(
        self, blocks: list[_Block], head: _Block, piece: Piece, meter: Meter, header: settings.Read
    ) -> dict[str, Section]:
        faults = self.faults
        sections: dict[str, Section] = {}
        head_values = header.values
        first: dict[str, int] = {}
        canonical: dict[str, str] = {}
        for block in blocks:
            key = block.name.casefold()
            if not block.music:
                block.name = canonical.get(key, block.name)
                if not block.spoilt:
                    self._again(block, first)
                continue
            own = (
                settings.Read({}, ())
                if block is head
                else self._settings(block.settings, block.name)
            )
            here = own.values.get("meter", meter)
            assert isinstance(here, Meter)
            self._notation(piece, head_values, own)
            reader = Reader(piece, here)
            for line in block.music:
                reader.read(line)
            reader.finish()
            if key in canonical:
                name, line_ = block.name, faults.line(first[canonical[key]])
                faults.add("E304", block.span.start, block.span.start + len(name) + 2, name=name, line=line_, example=f"{name} 2")  # fmt: skip
                continue
            canonical[key] = block.name
            first[block.name] = block.span.start
            shared = {k: v for k, v in own.values.items() if k in _SHARED}
            sections[block.name] = Section(
                block.name, Settings(**shared), reader.lines, block.span, own.written  # type: ignore[arg-type]
            )  # fmt: skip
        return sections

    def _again(self, block: _Block, first: dict[str, int]) -> None:
        """A heading without music: it plays a section of that name again."""
        start, end = block.span.start, block.span.start + len(block.name) + 2
        if block.name not in first:
            guess = near(block.name, list(first))
            hint = (
                f"did you mean [{guess}]?" if guess else "write bars under it, such as  | C | G7 |"
            )
            if block.name:
                self.faults.add("E305", start, end, name=quoted(block.name), hint=hint)
        elif block.settings:
            self.faults.add("E307", start, end, name=quoted(block.name))

    def _unplayed(self, played: form.Form, sections: dict[str, Section]) -> None:
        names = {item.section for item in played.items}
        for section in sections.values():
            if section.name and section.name not in names:
                start = section.span.start
                self.faults.add(
                    "W301", start, start + len(section.name) + 2, name=quoted(section.name)
                )
