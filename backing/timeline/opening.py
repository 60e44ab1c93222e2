"""How a band opens a tune that has no introduction of its own: bars that are added before the first one.

    last 4   the last four bars of the chorus, leading to the top
    pedal    four bars over the fifth of the key
    vamp     eight bars on the tonic, the last on the dominant; the leader lets the band build them up

Conventions: added bars have number 0 and line 0, so those of the sheet keep theirs; a pickup is played in the last of
them. Marks that stop or hold time are left out of bars that are taken over. Source: common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from backing.ground.manners import LAST_FOUR, OFF, PEDAL, VAMP
from backing.ground.pitch import Interval, Key
from backing.ground.timebase import TempoStep
from backing.harmony.symbol import Chord, read
from backing.timeline.model import ChordSpan, PlayedBar, SectionPass, TimeFeel, Timeline
from backing.timeline.tonality import at_rest, is_blues, tonic_chord

LAST = 4
PEDAL_BARS = 4
VAMP_BARS = 8
NAMES = ("Intro", "Introduction", "Opening")  # the first that no section has

Bar = list[tuple[Fraction, Chord | None]]  # length in quarters and chord, N.C. where None


def with_intro(timeline: Timeline, manner: str) -> Timeline:
    """The timeline with an introduction; as it is where the chart writes one."""
    if manner == OFF or not any(span.chord for span in timeline.chords):
        return timeline
    if any(section.part == "intro" for section in timeline.sections):
        note = f"an introduction is written, so that no other one ({manner}) is added"
        return timeline._replace(notes=(*timeline.notes, note))
    pickup = timeline.bars[0] if timeline.pickup else None
    first = timeline.bars[1] if pickup and len(timeline.bars) > 1 else timeline.bars[0]
    bars = _MANNERS[manner](timeline, first)
    made = _section(timeline, first, [sum((q for q, _ in bar), Fraction(0)) for bar in bars])
    spans = _spans(made, bars)
    length = made[-1].end_q - (pickup.length_q if pickup else 0)
    lead_in = 1 if pickup else 0
    later = _without_pickup(timeline) if pickup else timeline
    later = later.moved(length, len(bars) - lead_in, 1)
    chords = later.chords
    if pickup:
        spans, chords = _joined(spans, chords, length, len(made))
    section = SectionPass(made[0].section, 1, 0, "intro", 1, len(made))
    said = {LAST_FOUR: "the last four bars", PEDAL: "a pedal on the fifth", VAMP: "a vamp"}
    count = f"{len(made)} bar{'s' if len(made) > 1 else ''}"
    return later._replace(
        bars=(*made, *later.bars),
        chords=(*spans, *chords),
        sections=(section, *later.sections),
        tempo=(TempoStep(Fraction(0), later.tempo[0].us), *later.tempo[1:]),
        pickup=False,
        intro=manner,
        notes=(*timeline.notes, f"an introduction is added: {said[manner]}, {count}"),
    )


def _joined(
    spans: list[ChordSpan], chords: tuple[ChordSpan, ...], pickup_q: Fraction, bar: int
) -> tuple[list[ChordSpan], tuple[ChordSpan, ...]]:
    """Added chords up to a pickup and what follows; a pickup without a chord of its own has that of its bar."""
    last = spans[-1].chord
    own = [s for s in chords if s.bar == bar]
    if all(s.chord is None or s.chord == last for s in own):
        return spans, chords[len(own) :]
    return [s._replace(end_q=min(s.end_q, pickup_q)) for s in spans if s.start_q < pickup_q], chords


def _without_pickup(timeline: Timeline) -> Timeline:
    """The timeline without the bar of its pickup; what sounds in it stays, in the bar before."""
    bars, sections = timeline.bars[1:], list(timeline.sections)
    if sections[0].last == 1:  # a section of the pickup alone
        sections = sections[1:]
        bars = tuple(b._replace(section_index=b.section_index - 1) for b in bars)
    else:
        sections[0] = sections[0]._replace(first=2)
    return timeline._replace(bars=bars, sections=tuple(sections))


def _section(timeline: Timeline, first: PlayedBar, lengths: Sequence[Fraction]) -> list[PlayedBar]:
    """The added bars; they have what holds in the first bar of the tune, but for how loud it is and its marks."""
    taken = {section.name for section in timeline.sections}
    name = next((name for name in NAMES if name not in taken), NAMES[-1])
    made: list[PlayedBar] = []
    at = Fraction(0)
    for index, length in enumerate(lengths, 1):
        bar = first._replace(
            index=index,
            number=0,
            section=name,
            section_index=0,
            pass_=1,
            chorus=0,
            line=0,
            start_q=at,
            end_q=at + length,
            dynamic=None,
            dynamic_end=None,
            tacet=frozenset(),
            clave_half=(first.clave_half + index - 1 - len(lengths)) % 2,
            time_feel=TimeFeel.NORMAL,
            rubato=False,
            breaks=False,
            fills=False,
        )
        made.append(bar)
        at += length
    return made


def _spans(bars: Sequence[PlayedBar], chords: Sequence[Bar]) -> list[ChordSpan]:
    """The chords of the added bars."""
    made: list[ChordSpan] = []
    for bar, cells in zip(bars, chords, strict=True):
        at = bar.start_q
        for length, chord in cells:
            symbol = chord.symbol if chord else "N.C."
            again = bool(made) and chord is not None and made[-1].chord == chord
            made.append(ChordSpan(at, at + length, chord, symbol, symbol, bar.index, again=again))
            at += length
    return made


def _last_four(timeline: Timeline, first: PlayedBar) -> list[Bar]:
    """The last bars of the first chorus; where they come to rest, the last one turns to the dominant."""
    chorus = [b for b in timeline.bars if b.chorus == 1 and b.length_q == b.meter.length_q]
    wanted = [b for b in chorus if b.meter == first.meter][-LAST:] or [first]
    found: list[Bar] = []
    for bar in wanted:
        inside = [
            (min(s.end_q, bar.end_q) - max(s.start_q, bar.start_q), s.chord)
            for s in timeline.chords
            if s.start_q < bar.end_q and s.end_q > bar.start_q
        ]
        found.append(inside)
    opening = next(s.chord for s in timeline.chords if s.chord)
    last = found[-1][-1][1]
    key = wanted[-1].key
    if last is None or at_rest(last, key, is_blues(opening, key)):
        found[-1] = [(wanted[-1].length_q, _dominant(key, "7"))]
    return found


def _pedal(timeline: Timeline, first: PlayedBar) -> list[Bar]:
    """ii over V and V with a fourth in turn, resolved in the last bar."""
    fifth = first.key.tonic.up(_FIFTH)
    second = first.key.tonic.up(_SECOND).name + ("m7b5" if first.key.minor else "m7")
    over, held, leads = (
        _chord(symbol)
        for symbol in (f"{second}/{fifth.name}", f"{fifth.name}7sus4", f"{fifth.name}7")
    )
    return [[(first.meter.length_q, chord)] for chord in (over, held, over, leads)]


def _vamp(timeline: Timeline, first: PlayedBar) -> list[Bar]:
    """The tonic as the tune has it, and the dominant in the last bar."""
    chords = [span.chord for span in timeline.chords if span.chord is not None]
    tonic = tonic_chord(first.key, chords, is_blues(chords[0], first.key))
    rows = [tonic] * (VAMP_BARS - 1) + [_dominant(first.key, "7sus4")]
    return [[(first.meter.length_q, chord)] for chord in rows]


_FIFTH, _SECOND = Interval(4, 7), Interval(1, 2)
_MANNERS = {LAST_FOUR: _last_four, PEDAL: _pedal, VAMP: _vamp}


def _dominant(key: Key, quality: str) -> Chord:
    return _chord(key.tonic.up(_FIFTH).name + quality)


def _chord(symbol: str) -> Chord:
    chord = read(symbol)
    assert chord is not None
    return chord
