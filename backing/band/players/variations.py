"""Small changes that keep a groove alive: a kick more or less, a ghost note, a skip, an opened hat.

Conventions: strokes are keyed by (place in quarters of the piece, drum). What may change depends on the groove: swing
talks between the beats, a backbeat moves its kick and its ghost notes, any other groove (a clave, a dance) keeps its
figures and only lets soft strokes come and go. Source: common practice; where kicks and ghost notes fall in rock, pop
and soul follows the counts of PMC10130781, table 3. A groove in triplets is varied in triplets.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from backing.band.model import Kind, Why
from backing.band.players.patterns.traits import unbroken
from backing.band.players.pulses import beats, off_beats, shift_q
from backing.ground.dice import Place
from backing.timeline.model import PlayedBar

# Strokes of a bar while it is made: (place in quarters of the piece, drum) -> velocity and reason.
Key = tuple[Fraction, str]
Value = tuple[float, Why]
Strokes = dict[Key, Value]

GHOST = 0.42
_SIXTEENTH, _THIRD = Fraction(1, 4), Fraction(1, 3)
AGAIN = 0.4  # chance of a second change in the same bar


def varied(
    strokes: Strokes,
    bar: PlayedBar,
    base: float,
    swung: bool,
    sixteenths: bool,
    clave: bool,
    place: Place,
) -> Strokes:
    """The bar with one small change, now and then two; the bar itself where nothing may change.

    `base` is the velocity of a plain stroke; `sixteenths` is true where the style thinks in sixteenths, `clave` where
    it is built on one.
    """
    for number in range(2 if place.chance(AGAIN, "again") else 1):
        offers = _offers(strokes, bar, base, swung, sixteenths, clave)
        if not offers:
            break
        drop, add, value, _ = place.pick(offers, [o[3] for o in offers], number)
        strokes = {k: v for k, v in strokes.items() if k != drop}
        if add is not None:
            strokes[add] = value
    return strokes


def in_quarters(strokes: Strokes, bar: PlayedBar) -> Strokes:
    """A backbeat whose hat or ride is struck on the beats only; any other groove as it is."""
    shift = shift_q(bar)
    on = {shift + p for p, _ in beats(bar.meter)}
    off = {shift + p for p in off_beats(bar.meter)}
    if not any(drum == "snare" and at in on for at, drum in strokes):
        return strokes
    for cymbal in ("hat", "ride"):
        if {at for at, drum in strokes if drum == cymbal} == on | off:
            strokes = {k: v for k, v in strokes.items() if k[1] != cymbal or k[0] in on}
    return strokes


def _why(words: str) -> Why:
    return Why(Kind.VARIED, words)


Offer = tuple[Key | None, Key | None, Value, float]  # leave out, put in, how, weight
_NOTHING: Value = (0.0, _why(""))


def _offers(
    strokes: Strokes, bar: PlayedBar, base: float, swung: bool, sixteenths: bool, clave: bool
) -> list[Offer]:
    shift = shift_q(bar)
    on = [shift + p for p, _ in beats(bar.meter) if shift + p >= bar.start_q]
    off = [shift + p for p in off_beats(bar.meter) if shift + p >= bar.start_q]
    thirds = any(at.denominator % 3 == 0 for at, _ in strokes)
    if thirds:  # the last triplet of a beat stands for its half
        off = [at + _THIRD / 2 if at.denominator == 2 else at for at in off]
    if swung and not thirds:
        return _swing(strokes, on, off, base)
    loud = {at for at, drum in strokes if drum in ("snare", "rim") and at in on}
    if loud and on and on[0] not in loud and not clave and not _crossed(strokes, on):
        return _backbeat(strokes, bar, on, off, base, sixteenths, thirds)
    kept = _unbroken(strokes, bar) | ({"kick"} if clave else set())  # the kick belongs to a clave
    return [
        (key, None, _NOTHING, 1.0)
        for key, (force, _) in sorted(strokes.items())
        if force < base * 0.6 and key[0] not in on and key[1] not in kept
    ]


def _crossed(strokes: Strokes, on: list[Fraction]) -> bool:
    """Whether the rim plays a figure (a clave) and no backbeat: it strikes off the beat, or two beats in a row."""
    rim = {at for at, drum in strokes if drum == "rim"}
    return bool(rim - set(on)) or any(a in rim and b in rim for a, b in pairwise(on))


def _unbroken(strokes: Strokes, bar: PlayedBar) -> frozenset[str]:
    """The drums on which a hand goes on without a gap: a train beat, a brush that sweeps."""
    places: dict[str, list[Fraction]] = {}
    for at, drum in strokes:
        places.setdefault(drum, []).append(at)
    return frozenset(drum for drum, row in places.items() if unbroken(row, bar.length_q))


def _swing(strokes: Strokes, on: list[Fraction], off: list[Fraction], base: float) -> list[Offer]:
    offers: list[Offer] = []
    rides = any((at, "ride") in strokes for at in on)
    for at in off:
        if (at, "ride") in strokes:
            offers.append(((at, "ride"), None, _NOTHING, 0.7))
        elif rides:
            offers.append(
                (None, (at, "ride"), (base * 0.72, _why("an added skip on the ride")), 1.0)
            )
        if (at, "snare") not in strokes and (at, "kick") not in strokes:
            offers.append(
                (None, (at, "snare"), (base * 0.5, _why("a soft snare between the beats")), 1.0)
            )
            offers.append(
                (None, (at, "kick"), (base * 0.5, _why("a soft kick between the beats")), 0.5)
            )
    return offers


def _backbeat(
    strokes: Strokes,
    bar: PlayedBar,
    on: list[Fraction],
    off: list[Fraction],
    base: float,
    sixteenths: bool,
    thirds: bool,
) -> list[Offer]:
    backs = [at for at in on if (at, "snare") in strokes]
    offers = _kicks(strokes, on, off, backs, base, sixteenths)
    struck = _struck(strokes)
    ghost: Value = (base * GHOST, _why("a ghost note"))
    for back in backs:
        after = next((at for at in on if at > back), bar.end_q)
        for at in _ghosts(back, after, bar, sixteenths, thirds):
            free = (at, "kick") not in strokes and at not in struck
            if free and bar.start_q < at < bar.end_q:
                offers.append((None, (at, "snare"), ghost, 1.6))
    if not sixteenths and len(backs) > 1:  # a single backbeat is half time
        four: Value = (base * 0.8, _why("kick on the backbeat too"))
        offers += [(None, (at, "kick"), four, 0.8) for at in on if (at, "kick") not in strokes]
    if off and (off[-1], "hat") in strokes:
        opened: Value = (base * 0.85, _why("hat opened before the bar line"))
        offers.append(((off[-1], "hat"), (off[-1], "open hat"), opened, 0.8))
    return offers


def _struck(strokes: Strokes) -> set[Fraction]:
    """Where the snare's head or rim is struck."""
    return {at for at, drum in strokes if drum in ("snare", "rim")}


def _kicks(
    strokes: Strokes,
    on: list[Fraction],
    off: list[Fraction],
    backs: list[Fraction],
    base: float,
    sixteenths: bool,
) -> list[Offer]:
    """Kicks off the beat, left out or added; in sixteenths also just before a beat, before backbeats last."""
    struck = _struck(strokes)
    kick: Value = (base * 0.84, _why("an added kick off the beat"))
    offers: list[Offer] = []
    for number, at in enumerate(off):
        if (at, "kick") in strokes:
            offers.append(((at, "kick"), None, _NOTHING, 0.7))
        elif at not in struck:
            offers.append((None, (at, "kick"), kick, 3.0 if number == 0 else 1.0))
    if sixteenths:
        early = [at - _SIXTEENTH for at in on[1:] if at not in backs]
        early += [at - _SIXTEENTH for at in backs]
        free = [at for at in early if (at, "kick") not in strokes and at not in struck]
        offers += [(None, (at, "kick"), kick, 0.8) for at in free]
    return offers


def _ghosts(
    back: Fraction, after: Fraction, bar: PlayedBar, sixteenths: bool, thirds: bool
) -> tuple[Fraction, Fraction]:
    """Where ghost notes stand around the beat `after` a backbeat: the last part before it and the first behind it.

    The parts are sixteenths, thirds in triplets, eighths where the meter counts them and the style thinks in them.
    """
    part = _THIRD if thirds else _SIXTEENTH if sixteenths or bar.meter.unit < 8 else 2 * _SIXTEENTH
    return after - part, after + part
