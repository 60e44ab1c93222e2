"""An arrangement in words: every note with its degree and reason, and the form as it is played.

Conventions: places are counted beats from 1 (`2+1/2` is the middle of beat 2); bars are named by their number on the
sheet, and by how many have been played where that differs. Pitches are spelled by the degree that they are of their
chord, else by the key; octaves are scientific (C4 is middle C). A grip is written from the lowest string to the
highest, `x` for a string that is not played.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import groupby

from backing.band.model import Arrangement, Note, Player
from backing.ground.errors import RequestError
from backing.ground.instruments import DRUM_NAMES
from backing.ground.pitch import LETTER_SEMITONES, LETTERS, Degree, Key, NoteName, Pitch
from backing.ground.roles import pitched
from backing.performance.model import Performance
from backing.timeline.model import ChordSpan, PlayedBar, SectionPass, Strike, Timeline

BARS_A_LINE = 4


def spelled(note: Note, timeline: Timeline, key: Key) -> Pitch:
    """The pitch of a note by its degree, or by the key of its bar where it has none that fits."""
    chord = timeline.chords[note.chord].chord if note.chord >= 0 else None
    if chord is not None and note.degree:
        try:
            name = Degree.parse(note.degree).of(chord.root)
        except ValueError:
            pass
        else:
            if name.pc == note.pitch % 12 and abs(name.alter) <= 2:
                return _in_octave(name, note.pitch)
    return _in_octave(by_key(note.pitch, key), note.pitch)


def _in_octave(name: NoteName, midi: int) -> Pitch:
    natural = LETTER_SEMITONES[LETTERS.index(name.letter)] + name.alter
    return Pitch(name, (midi - natural) // 12 - 1)


def by_key(midi: int, key: Key) -> NoteName:
    """The usual name of a pitch in a key: its own seven notes, and around them the fewest accidentals.

    >>> [by_key(m, Key.parse("Eb")).name for m in (60, 61, 66, 68)], by_key(66, Key.parse("D")).name
    (['C', 'Db', 'Gb', 'Ab'], 'F#')
    """
    k = key.fifths
    low = min(
        k - 1, max(k - 6, min(-1, max(-7, k - 4)))
    )  # lowest of twelve places in the row of fifths
    fifths = low + (midi * 7 - low) % 12
    place = (fifths + 1) % 7
    return NoteName("FCGDAEB"[place], (fifths + 1) // 7)


def chosen_bars(timeline: Timeline, bars: tuple[int, int] | None) -> list[PlayedBar]:
    """All bars as played, or those with the given numbers on the sheet where they are first played.

    Raises `RequestError` where the sheet has none of them.
    """
    if bars is None:
        return list(timeline.bars)
    first, last = bars
    seen: set[int] = set()
    found = []
    for bar in timeline.bars:
        if first <= bar.number <= last and bar.number not in seen and (bar.number or bar.line):
            seen.add(bar.number)
            found.append(bar)
    if not found:
        highest = max((bar.number for bar in timeline.bars), default=0)
        raise RequestError(f"--bars {first}-{last}: this chart has bars 1 to {highest}")
    return found


def place(at_q: Fraction, bar: PlayedBar) -> str:
    """A place in a bar as a counted beat: `1`, `2+1/2`."""
    missing = bar.meter.length_q - bar.length_q if bar.index == 1 else Fraction(0)
    beats = (at_q - bar.start_q + missing) / bar.meter.beat_q
    whole = beats.numerator // beats.denominator
    return f"{whole + 1}" if beats == whole else f"{whole + 1}+{beats - whole}"


def _notes_in(player: Player, starts: Sequence[Fraction], bar: PlayedBar) -> Sequence[Note]:
    return player.notes[bisect_left(starts, bar.start_q) : bisect_left(starts, bar.end_q)]


def symbols_in(timeline: Timeline, bar: PlayedBar) -> str:
    """The chords of a bar as one writes them, `%` where the chord before goes on."""
    written = [
        ("<" if span.push_q else "") + _symbol(span, timeline.german) + _MARKS[span.strike]
        for span in _spans_of(timeline, bar)
    ]
    return " ".join(written) or "%"


def _symbol(span: ChordSpan, german: bool) -> str:
    if not german or span.chord is None:
        return span.symbol
    from backing.chart.naming import symbol_in

    return symbol_in(span.chord, german)


_MARKS = {Strike.NORMAL: "", Strike.STOP: "!", Strike.RING: "="}


def _spans_of(timeline: Timeline, bar: PlayedBar) -> Sequence[ChordSpan]:
    first = bisect_left(timeline.chords, bar.index, key=lambda span: span.bar)
    last = bisect_left(timeline.chords, bar.index + 1, key=lambda span: span.bar)
    return timeline.chords[first:last]


def explain(arrangement: Arrangement, bars: tuple[int, int] | None = None) -> str:
    """Bar by bar and player by player, every note in words.

    `bars` are first and last number on the sheet. Raises `RequestError` where there are none of them.
    """
    timeline = arrangement.timeline
    chosen = chosen_bars(timeline, bars)
    starts = {p.role: [n.start_q for n in p.notes] for p in arrangement.players}
    lines = []
    if bars is None and arrangement.count_in_q:
        count = f"{arrangement.count_in_bars} bar{'s' if arrangement.count_in_bars > 1 else ''}"
        lines += [f"count-in · {count}", ""]
    for bar in chosen:
        section = f" · {bar.section}" if bar.section else ""
        lines.append(f"{bar_name(bar)}{section} · {symbols_in(timeline, bar)}")
        lines += _led(arrangement, bar)
        for player in arrangement.players:
            notes = _notes_in(player, starts[player.role], bar)
            if not notes and player.role == "click":
                continue
            if not notes:
                text = _silence(arrangement, player.role, bar)
            elif not pitched(player.role):
                text = _drums(notes, bar)
            else:
                text = " | ".join(_strokes(notes, bar, timeline))
            lines.append(f"  {player.role + ':':<11} {text}")
        lines.append("")
    return "\n".join(lines).rstrip("\n")


def _led(arrangement: Arrangement, bar: PlayedBar) -> Iterable[str]:
    """What the leader decided for a section, where it begins."""
    sections = arrangement.plan.sections
    if bar.section_index < len(sections):
        first = arrangement.timeline.sections[bar.section_index].first
        for decision in sections[bar.section_index].decisions if bar.index == first else ():
            yield f"  leader:     {decision.told}"


def _silence(arrangement: Arrangement, player: str, bar: PlayedBar) -> str:
    """Why nothing of a player is heard in a bar, "-" where there is no more to say."""
    sections = arrangement.plan.sections
    if bar.section_index < len(sections):
        first = arrangement.timeline.sections[bar.section_index].first
        rest = sections[bar.section_index].rests_at(player, bar.index - first)
        if rest is not None:
            return f"rests: {rest.why.value}"
    return "rests" if bar.index in arrangement.silent else "-"


def bar_name(bar: PlayedBar) -> str:
    """`bar 5`, with how many have been played where that differs; a pickup and an added bar have no number."""
    name = f"bar {bar.number}" if bar.number else "pickup" if bar.line else "added bar"
    return name if bar.index in (bar.number, 1) else f"{name} (played {bar.index})"


def _strokes(notes: Sequence[Note], bar: PlayedBar, timeline: Timeline) -> Iterable[str]:
    """What is played at each place: pitches with degrees, the grip of a guitar, why."""
    for at_q, group in groupby(notes, key=lambda n: n.start_q):
        struck = list(group)
        named = " ".join(
            spelled(n, timeline, bar.key).name + (f" {n.degree}" if n.degree else "")
            for n in struck
        )
        grip = f" [{grip_text(struck)}]" if struck[0].string else ""
        why = ", ".join(dict.fromkeys(n.why.words for n in struck))
        yield f"{place(at_q, bar)}: {named}{grip} ({why})"


def grip_text(notes: Sequence[Note]) -> str:
    """Frets from the lowest string to the highest: `x 3 5 3 4 x`; a single note names its string."""
    if len(notes) == 1:
        return f"string {notes[0].string} fret {notes[0].fret}"
    frets = {n.string: n.fret for n in notes}
    return " ".join(str(frets[s]) if s in frets else "x" for s in range(6, 0, -1))


def _drums(notes: Sequence[Note], bar: PlayedBar) -> str:
    """Each drum with the places at which it is struck, then the reasons."""
    by_drum: dict[tuple[int, str], list[Note]] = {}
    for note in notes:
        by_drum.setdefault((note.pitch, note.degree or DRUM_NAMES[note.pitch]), []).append(note)
    drums = " | ".join(
        f"{name} {' '.join(place(n.start_q, bar) for n in struck)}"
        for (_, name), struck in sorted(by_drum.items())
    )
    return f"{drums} ({', '.join(dict.fromkeys(n.why.words for n in notes))})"


def explain_json(
    arrangement: Arrangement, bars: tuple[int, int] | None = None
) -> list[dict[str, object]]:
    """Every note as an object; `bar` counts bars as played from 1, 0 is the count-in.

    `start` and `length` are quarters from the start of the form as exact fractions in text. Raises `RequestError`.
    """
    timeline = arrangement.timeline
    chosen = chosen_bars(timeline, bars)
    found: list[dict[str, object]] = []
    for player in arrangement.players:
        starts = [n.start_q for n in player.notes]
        rows = [(bar.index, _notes_in(player, starts, bar)) for bar in chosen]
        if bars is None:
            rows.insert(0, (0, player.notes[: bisect_left(starts, Fraction(0))]))
        for index, notes in rows:
            for note in notes:
                row: dict[str, object] = {
                    "bar": index,
                    "player": player.role,
                    "start": str(note.start_q),
                    "length": str(note.length_q),
                    "pitch": note.pitch,
                    "velocity": note.velocity,
                    "degree": note.degree,
                    "why": note.why.words,
                    "kind": note.why.kind.value,
                }
                if note.string:
                    row |= {"string": note.string, "fret": note.fret}
                found.append(row)
    return found


def timeline_text(name: str, performance: Performance, remarks: Sequence[str] = ()) -> str:
    """What a chart plays: title and settings, the form, how long it is, what was decided, the chords of every bar."""
    arrangement = performance.arrangement
    timeline = arrangement.timeline
    first = timeline.bars[0]
    settings = ", ".join(
        (arrangement.style.name, _key_text(timeline), first.meter.full_name, _tempo_text(timeline))
    )
    bars = len(timeline.bars)
    count = arrangement.count_in_bars
    counted = f", after {count} bar{'s' if count > 1 else ''} of count-in" if count else ""
    lines = [
        f"{name}: {timeline.title or 'untitled'} ({settings})",
        f"form: {form_text(timeline)}",
        f"{bars} bar{'s' if bars > 1 else ''}, {_minutes(performance.duration_s)}{counted}; "
        f"ending: {timeline.ending.name}",
        *(f"note: {note}" for note in (*timeline.notes, *remarks)),
    ]
    for section in timeline.sections:
        lines += ["", *_section_lines(timeline, section, arrangement.silent)]
    return "\n".join(lines)


def _key_text(timeline: Timeline) -> str:
    from backing.chart.naming import named

    return f"{named(timeline.key.tonic, timeline.german)} {timeline.key.mode_name}"


def _tempo_text(timeline: Timeline) -> str:
    meter = timeline.bars[0].meter
    unit = Fraction(1) if meter.counted_in_eighths else meter.beat_q
    names = {Fraction(1): "quarter", Fraction(3, 2): "dotted quarter", Fraction(2): "half"}
    bpm = timeline.tempo[0].qpm / float(unit)
    return f"{names.get(unit, 'beat')} = {round(bpm, 1):g}"


def _minutes(seconds: float) -> str:
    whole = int(seconds + 0.5)
    return f"{whole // 60}:{whole % 60:02d}"


def form_text(timeline: Timeline) -> str:
    """The sections in order of play, choruses set apart by bars: `Intro | A A B A | A A B A | Ending`."""
    groups = groupby(timeline.sections, key=lambda s: (s.part, s.chorus))
    return " | ".join(" ".join(s.name or "chorus" for s in group) for _, group in groups)


def _section_lines(
    timeline: Timeline, section: SectionPass, silent: frozenset[int]
) -> Iterable[str]:
    bars = timeline.bars[section.first - 1 : section.last]
    name = section.name or "chorus"
    moved = f", moved by {section.transpose:+d}" if section.transpose else ""
    chorus = f", chorus {section.chorus}" if section.chorus and timeline.choruses > 1 else ""
    yield f"{name}{chorus}{moved}"
    meter = timeline.bars[section.first - 2].meter if section.first > 1 else bars[0].meter
    for row in _rows(bars):
        texts = []
        for bar in row:
            change = f"{bar.meter.full_name} " if bar.meter != meter else ""
            meter = bar.meter
            rest = " (silent)" if bar.index in silent else " (rubato)" if bar.rubato else ""
            texts.append(change + symbols_in(timeline, bar) + rest)
        number = str(row[0].number) if row[0].line else "+"
        yield f"{number:>5}  | {' | '.join(texts)} |"


def _rows(bars: Sequence[PlayedBar]) -> Iterable[Sequence[PlayedBar]]:
    """Bars a line at a time; a repeat, an ending and the first bar after a pickup begin a new line."""
    at = 0
    for i, bar in enumerate(bars[1:], 1):
        follows = bar.number == bars[i - 1].number + 1 and bars[i - 1].number > 0
        follows = follows or not bar.line
        if not follows or i - at == BARS_A_LINE:
            yield bars[at:i]
            at = i
    yield bars[at:]
