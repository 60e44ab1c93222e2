"""The music lines of an ABC tune: from signs to measures.

*Source*: the abc music standard 2.1, section 4 (the tune body) and 5 (words). Decorations that steer the band are in
`STEERING`; others are left out and told once.
"""

from __future__ import annotations

import re
from fractions import Fraction

from backing.chart.ast import LAST, BarLine
from backing.ground.pitch import NoteName, Pitch
from backing.ground.source import Span
from backing.ground.timebase import FOUR_FOUR, Meter
from backing.reading import abc_fields
from backing.reading.abc_bar import Bar, Event, placed
from backing.reading.abc_signs import ALTER, SHORT, STEERING, TOKEN, TWOS, factor, numbers_of
from backing.reading.abc_words import Sung, align
from backing.reading.findings import Findings
from backing.reading.lead import Measure, Set
from backing.reading.symbols import is_direction, typed_symbol

MOST_RESTS = 200  # bars of `Z`


class Tune:
    """Reads music lines and what steers them, in order."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self.meter: Meter | None = FOUR_FOUR
        self.given_length: Fraction | None = None
        self.alters: dict[str, int] = {}
        self.accidentals: dict[str, int] = {}
        self.bars: list[Bar] = []
        self.bar = Bar(Measure())
        self.tied: Pitch | None = None
        self.last: Event | None = None  # for > and <
        self.factor: Fraction | None = None  # of the next note, by > or <
        self.tuplet: tuple[int, Fraction] = (0, Fraction(1))  # notes left, and their factor
        self.first_voice: str | None = None
        self.speaking = True  # whether the first voice does
        self.overlaid = False
        self.sung = Sung()

    # --- fields

    @property
    def unit_q(self) -> Fraction:
        return self.given_length or abc_fields.usual_length(self.meter)

    def set_meter(self, value: str, span: Span) -> None:
        self.meter = abc_fields.meter(value)
        if self.meter is None:
            free = value.strip().casefold() in ("none", "")
            what = "the tune has no meter" if free else f"{value.strip()!r} is no meter"
            self.findings.add("W701", span, what=what, assumed="4/4")
        if not self.bar.events:
            self.bar.measure.meter = self.meter or FOUR_FOUR

    def set_length(self, value: str) -> None:
        self.given_length = abc_fields.length(value) or self.given_length

    def start(self, key: str, span: Span) -> abc_fields.Signature:
        """The head is read: the key that the tune begins in."""
        found = abc_fields.signature(key)
        self.alters = found.alters
        if found.left:
            self.findings.add("W710", span, found=f"the key {found.left!r}", hint="")
        self._open()
        return found

    def set_key(self, value: str, span: Span) -> None:
        """A key within the tune."""
        found = abc_fields.signature(value)
        if found.key is None and not found.alters:
            return
        self.alters = found.alters
        if found.key:
            self._set("key", abc_fields.key_value(found.key), span)

    def set_tempo(self, value: str, span: Span) -> None:
        tempo, words = abc_fields.tempo(value, self.unit_q)
        if tempo:
            self._set("tempo", tempo, span)
        if words:
            self.bar.said.append((len(self.bar.events), words, span))

    def _set(self, name: str, value: str, span: Span) -> None:
        if self.bar.events:
            self.findings.add(
                "W709",
                span,
                what=f"{name}: {value} stands inside a bar and is taken to hold from its start",
                hint="",
            )
        settings = self.bar.measure.settings
        settings[:] = [s for s in settings if s.name != name] + [Set(name, value, span)]

    def section(self, name: str, span: Span) -> None:
        """A part begins."""
        if self.bar.events:
            self.close("|", span)
        self.bar.measure.opened, self.bar.measure.opened_at = name, span

    def voice(self, name: str) -> None:
        if self.first_voice is None:
            self.first_voice = name
        self.speaking = name == self.first_voice
        if not self.speaking:
            self.findings.add(
                "W707", Span(0, 0), count="several", kinds="voices", which="first", hint=""
            )

    def words(self, text: str, span: Span, more: bool) -> None:
        """A line of words under the music before it."""
        if self.speaking:
            self.sung.verse(align(text, self.sung.places), more)

    # --- music

    def line(self, text: str, start: int) -> None:
        """A line of music."""
        if text.startswith("[V:"):
            self.voice(text[3:].split("]")[0].split()[0] if text[3:].split("]")[0].split() else "")
        if not self.speaking or not text.strip():
            return
        if self.bars and not self.bar.events:
            self.bar.measure.new_line = True
        self.sung.begin()
        at, after_bar = 0, False
        while at < len(text):
            if after_bar and (found := re.compile(r"\s?[0-9][0-9,\-]*").match(text, at)):
                self._ending(found[0].strip(), Span(start + at, start + found.end()))
                at, after_bar = found.end(), False
                continue
            token = TOKEN.match(text, at)
            if token is None:
                self.findings.add(
                    "W710",
                    Span(start + at, start + at + 1),
                    found=f"the sign {text[at]!r}",
                    hint="",
                )
                at += 1
                continue
            kind = token.lastgroup or ""
            if token["ending"]:
                found = re.compile(r'\[\s*("[^"]*"|[0-9][0-9,\-]*)').match(text, at)
                at = found.end() if found else at + 1
                if found:
                    self._ending(found[1], Span(start + token.start(), start + at))
                continue
            at = token.end()
            after_bar = bool(token["bar"])
            self._token(token, kind, Span(start + token.start(), start + at))

    def _token(self, token: re.Match[str], kind: str, span: Span) -> None:
        text = token[0]
        if token["bar"]:
            self.close(text, span)
        elif token["inline"]:
            self._inline(text, span)
        elif self.overlaid:
            return
        elif token["note"]:
            pitch = self._pitch(token["sign"], token["letter"], token["octave"], span)
            self._sound(pitch, factor(token["length"]), span)
        elif token["chord"]:
            self._chord(token, span)
        elif token["rest"]:
            if text[0] != "y":
                self._sound(None, factor(token["silence"]), span)
        elif token["bars"]:
            self._rest_bars(int(text[1:] or 1), span)
        elif token["quoted"]:
            self._quoted(text.strip('"'), span)
        elif token["decoration"]:
            self._decoration(text[1:-1], span)
        elif token["short"]:
            self._decoration(SHORT.get(text, text), span)
        elif token["tuplet"]:
            self._tuplet(int(token["p"]), token["q"], token["r"])
        elif token["broken"]:
            self._broken(text)
        elif token["tie"]:
            if self.last:
                self.tied = self.last.pitch
        elif token["grace"]:
            self.findings.add("W710", span, found="a grace note", hint="")
        elif token["overlay"]:
            self.overlaid = True
            self.findings.add("W710", span, found="a second voice in the bar (&)", hint="")

    def _inline(self, text: str, span: Span) -> None:
        letter, value = text[1], text[3:].rstrip("]").strip()
        if letter == "M":
            self.set_meter(value, span)
        elif letter == "L":
            self.set_length(value)
        elif letter == "K":
            self.set_key(value, span)
        elif letter == "Q":
            self.set_tempo(value, span)
        elif letter == "P":
            self.section(value, span)

    def _pitch(self, sign: str | None, letter: str, marks: str, span: Span) -> Pitch:
        upper = letter.upper()
        if sign and sign.endswith("/"):
            self.findings.add("W710", span, found="a quarter tone", hint="")
            sign = ""
        if sign:
            self.accidentals[upper] = ALTER[sign]
        alter = self.accidentals.get(upper, self.alters.get(upper, 0))
        octave = (4 if letter.isupper() else 5) + marks.count("'") - marks.count(",")
        return Pitch(NoteName(upper, alter), octave)

    def _sound(self, pitch: Pitch | None, factor: Fraction, span: Span) -> None:
        length = self.unit_q * factor
        left, share = self.tuplet
        if left:
            length *= share
            self.tuplet = left - 1, share
        if self.factor is not None:
            length *= self.factor
            self.factor = None
        if pitch is not None and not 12 <= pitch.midi <= 127:
            self.findings.add("W710", span, found="a note that nobody can play", hint="")
            pitch = None
        tied = pitch is not None and self.tied == pitch
        self.tied = None
        self.last = Event(pitch, length, span, tied)
        self.bar.events.append(self.last)
        if pitch is not None:
            self.sung.note(self.last.sung)

    def _chord(self, token: re.Match[str], span: Span) -> None:
        """Notes at once: the top one is the melody."""
        inner = token["chord"][1:-1]
        notes = [n for n in TOKEN.finditer(inner) if n["note"]]
        after = re.compile(r"[0-9]{0,4}(?:/+[0-9]{0,4})*").match(token.string, token.end())
        if not notes:
            return
        pitches = [self._pitch(n["sign"], n["letter"], n["octave"], span) for n in notes]
        if len(notes) > 1:
            self.findings.add(
                "W707", span, count="several", kinds="notes at once", which="top one", hint=""
            )
        times = factor(notes[0]["length"]) * factor(after[0] if after else "")
        self._sound(max(pitches, key=lambda p: p.midi), times, span)
        if inner.endswith("-"):
            self.tied = self.last.pitch if self.last else None

    def _tuplet(self, p: int, q: str | None, r: str | None) -> None:
        compound = self.meter is not None and self.meter.compound
        time = int(q) if q else TWOS.get(p, 3 if compound else 2)
        self.tuplet = int(r) if r else p, Fraction(time, p)

    def _broken(self, text: str) -> None:
        short = Fraction(1, 2 ** len(text))
        if self.last is None:
            return
        before, after = (2 - short, short) if text[0] == ">" else (short, 2 - short)
        self.last.length_q *= before
        self.factor = after

    def _rest_bars(self, many: int, span: Span) -> None:
        length = (self.meter or FOUR_FOUR).length_q
        for i in range(min(many, MOST_RESTS)):
            if i:
                self.close("|", span)
            self.bar.events.append(Event(None, length, span, False))

    def _quoted(self, text: str, span: Span) -> None:
        place = len(self.bar.events)
        if text[:1] in "^_<>@" and text:
            words = re.sub(r"^@[-0-9., ]*", "", text).lstrip("^_<>@")
            if words.strip():
                self.bar.said.append((place, words.strip(), span))
            return
        symbol = typed_symbol(text)
        if symbol:
            self.bar.symbols.append((place, symbol, span))
        elif text.strip():
            if not is_direction(text):
                self.findings.add("W702", span, found=repr(text[:40]), hint="")
            self.bar.said.append((place, text.strip(), span))

    def _decoration(self, name: str, span: Span) -> None:
        steering = STEERING.get(name)
        if steering:
            self.bar.said.append((len(self.bar.events), steering, span))
        elif name not in ".~uv":
            self.findings.add("W710", span, found=f"the decoration {name}", hint="")

    def _ending(self, text: str, span: Span) -> None:
        numbers = sorted(
            {
                n
                for part in re.findall(r"[0-9]{1,2}(?:-[0-9]{1,2})?", text)
                for n in numbers_of(part)
            }
        )
        if not numbers and text.strip('"').casefold() == "last":
            numbers = [LAST]
        if not numbers:
            self.bar.said.append((len(self.bar.events), text.strip('"'), span))
            return
        run = next((i for i, n in enumerate(numbers) if n != numbers[0] + i), len(numbers))
        taken = tuple(numbers[:run])
        if run < len(numbers):
            self.findings.add(
                "W706", span, found=text, read="-".join(map(str, {taken[0]: 0, taken[-1]: 0}))
            )
        if self.bar.events:
            self.close("|", span)
        self.bar.measure.ending = taken

    # --- bar lines

    def close(self, sign: str, span: Span) -> None:
        """A bar line: the bar before it is done."""
        closes, opens = sign.lstrip(".").startswith(":"), sign.endswith(":")
        self.accidentals, self.overlaid = {}, False
        self.tuplet = 0, Fraction(1)
        if self.bar.events:
            self.sung.bar_line()
            self._done(span)
        before = self.bars[-1].measure if self.bars else None
        if before and not self.bar.events:
            if closes:
                colons = len(sign) - len(sign.lstrip(".:")) if "|" in sign else 1
                before.times = max(before.times, 1 + colons)
            elif "]" in sign:
                before.line_after = BarLine.FINAL
            elif "||" in sign and not opens:
                before.line_after = BarLine.DOUBLE
        if opens:
            self.bar.measure.repeat_start = True

    def _done(self, span: Span) -> None:
        events = self.bar.events
        first = events[0].span.start
        self.bar.measure.span = Span(first, max(span.start, events[-1].span.end))
        self.bars.append(self.bar)
        self._open()

    def _open(self) -> None:
        """Begin a bar; what was said behind the last note of the one before stands over this one."""
        old = self.bar
        self.bar = Bar(Measure(meter=self.meter or FOUR_FOUR))
        last = len(old.events)
        self.bar.symbols = [(0, t, s) for i, t, s in old.symbols if i == last and last]
        self.bar.measure.opened, self.bar.measure.opened_at = (
            (old.measure.opened, old.measure.opened_at) if not last else (None, Span(0, 0))
        )
        old.symbols = [s for s in old.symbols if s[0] < last]

    def finish(self) -> list[Measure]:
        """All measures of the tune."""
        if self.bar.events:
            self._done(self.bar.events[-1].span)
        for bar in self.bars:
            placed(bar)
        return [bar.measure for bar in self.bars]
