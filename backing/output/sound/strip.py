"""The channel strip of a player: what is done to its sound between the instrument and the place where it stands.

In this order: what overlaps is folded to the middle, a stroke of drive, gentle compression (`dynamics`), then all that
is linear as one response: a high-pass, two bells or shelves, pan and width. A row of the table belongs to an
instrument, or to all instruments of a role that have none of their own.

Conventions: frequencies in Hz, gains in dB; a bell is (Hz, dB, Q), a shelf (Hz, dB, 0) lifts or lowers what lies above.
`above_db` is the peak, of a note at its common measure (`balance`), from which a compressor takes back half of every
decibel (0: none). `drive` is how far a note at its common measure is bent, 0 to 1. `wide` is the sides against the
middle: a short delay added left and taken away right, so that a fold to mono gives back exactly the middle.
`early` and `late` are the shares of the two rooms in what a style sends.
Sources: shape of the filters from Bristow-Johnson, Cookbook formulae for audio EQ biquad filter coefficients (W3C note);
width by a complementary delay (Lauridsen 1954, from memory); ranges of frequencies as mixing handbooks name them, from memory, and
ratio and times of compression are common practice. The reason stands in each row.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from backing.ground.instruments import Instrument
from backing.ground.roles import role_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Response = NDArray[np.complex64]  # (bins,)

RATE = 44_100
WIDTH_MS = 11.0  # long enough to part the sides, too short for an echo
WIDTH_LOW_HZ, WIDTH_HIGH_HZ = 250.0, 5000.0  # lows stay in the middle, and so does sizzle


class Strip(NamedTuple):
    """A row of the table; the columns are told above."""

    low_hz: float  # high-pass, where it lies above the instrument's own
    bells: tuple[tuple[float, float, float], ...]
    above_db: float
    drive: float
    fold: bool
    wide: float
    early: float
    late: float
    why: str


# In the order of instruments and roles.
_TABLE = {
    # name               low_hz  bells                                    above  drive  fold   wide early late  why
    "acoustic piano": Strip(45, ((300, -2.0, 0.9), (2500, 1.5, 0.8)),      0,    0.0, False, 0.40, 0.8, 1.0,
        "a piano is as wide as its strings; less of 300 Hz, where left hand, guitar and bass meet"),
    "organ":        Strip(70, ((300, -1.5, 0.9), (2000, 1.0, 0.8)),        0,    0.0, False, 0.30, 0.6, 1.2,
        "a turning speaker is heard from all sides; its lows would cover the bass"),
    "rock organ":   Strip(70, ((300, -1.5, 0.9), (2000, 1.0, 0.8)),        0,    0.0, False, 0.30, 0.6, 1.0,
        "as the organ, in a smaller room"),
    "string ensemble": Strip(90, ((350, -1.5, 0.9), (7000, 1.5, 0)),       0,    0.0, False, 0.45, 0.6, 1.4,
        "many players sit side by side, far from the microphones, in the hall's late sound"),
    "pizzicato strings": Strip(90, ((350, -1.5, 0.9), (4000, 1.0, 0)),     0,    0.0, False, 0.35, 0.8, 1.2,
        "as the ensemble; what is plucked needs its attack"),
    "warm pad":     Strip(120, ((350, -2.0, 0.9),),                        0,    0.0, False, 0.45, 0.5, 1.4,
        "a bed behind the band, out of the way of the lows"),
    "choir":        Strip(100, ((300, -1.5, 0.9), (3000, 1.0, 0.8)),     -20,    0.0, False, 0.40, 0.6, 1.4,
        "many singers side by side; voices are evened out"),
    "acoustic bass": Strip(30, ((220, -1.5, 0.9), (800, 4.0, 0.7)),      -26,    0.7, True,  0.00, 1.0, 0.6,
        "a small speaker has nothing under 150 Hz: overtones and fingers tell the note"),
    "overdriven guitar": Strip(90, ((900, -6.0, 0.6), (3000, 2.0, 0.7)),   0,    0.0, False, 0.00, 1.0, 0.8,
        "fifth partials of driven strings sound major thirds over minor chords; the pick tells the rhythm"),
    "distorted guitar": Strip(90, ((900, -6.0, 0.6), (3000, 2.0, 0.7)),    0,    0.0, False, 0.00, 1.0, 0.8,
        "as overdriven, and more so"),
    "brush kit":    Strip(30, ((5000, 1.0, 0),),                         -22,    0.2, False, 0.00, 1.2, 1.0,
        "brushes live above 5 kHz"),
    "melody":       Strip(80, ((3000, 1.5, 0.7),),                       -20,    0.0, False, 0.00, 0.6, 1.0,
        "the tune stands in front: presence, and evened out as a voice is"),
    "solo":         Strip(75, ((250, -1.5, 0.9), (2800, 1.5, 0.8)),      -22,    0.0, False, 0.10, 1.0, 1.0,
        "a guitar by itself keeps its lows; the tune on top wants the pick, and evening out as a voice does"),
    "horns":        Strip(80, ((400, -1.0, 0.9), (3000, 1.0, 0.7)),      -21,    0.0, False, 0.00, 1.0, 1.1,
        "a section's loud notes stand out by 10 dB and more"),
    "strings":      Strip(80, ((350, -1.0, 0.9), (7000, 1.0, 0)),          0,    0.0, False, 0.15, 0.8, 1.2,
        "a solo string stands a little apart, with air"),
    "guitar":       Strip(90, ((250, -2.0, 0.9), (2800, 1.0, 0.8)),        0,    0.0, False, 0.00, 1.0, 0.8,
        "the box sounds at 250 Hz and covers bass and piano; the pick tells the rhythm"),
    "keys":         Strip(60, ((300, -1.5, 0.9), (2000, 1.5, 0.8)),        0,    0.0, False, 0.20, 0.8, 1.0,
        "less where left hand, guitar and bass meet; thirds and sevenths must tell"),
    "bass":         Strip(30, ((400, -5.5, 0.7), (1500, 2.0, 0.8)),      -26,    0.0, True,  0.00, 1.0, 0.6,
        "an even line carries the band, in the middle; its fifth partial, as loud as its root, would cover minor thirds"),
    "drums":        Strip(30, ((350, -2.5, 0.9), (6000, 0.5, 0)),        -24,    0.40, False, 0.00, 1.3, 0.8,
        "kick and snare lead the peaks of a mix: rounded as by tape; skins box at 350 Hz; a kit is heard in its room"),
    "percussion":   Strip(120, ((400, -1.0, 0.9),),                        0,    0.0, True,  0.00, 1.3, 0.9,
        "soundfonts pan single shakers far to one side; the style says where the player stands"),
    "click":        Strip(0, (),                                           0,    0.0, True,  0.00, 1.0, 1.0,
        "a click is left alone"),
}  # fmt: skip


def strip_of(role: str, instrument: Instrument) -> Strip:
    """The strip of a player with an instrument in its hands."""
    own = _TABLE.get(instrument.name)
    return _TABLE[role_of(role).name] if own is None else own


@lru_cache(maxsize=32)
def response(strip: Strip, cut_hz: float, span: int) -> Response:
    """What the filters of a strip do on the frequencies of a transform of `span` frames."""
    import numpy as np

    z = np.exp(-2j * np.pi * np.arange(span // 2 + 1) / span)
    whole = np.ones(span // 2 + 1, complex)
    lowest = max(cut_hz, strip.low_hz)
    for section in (high_pass(lowest), *(_bell(*bell) for bell in strip.bells)):
        b0, b1, b2, a1, a2 = section
        whole *= (b0 + b1 * z + b2 * z * z) / (1 + a1 * z + a2 * z * z)
    return np.asarray(whole, np.complex64)


@lru_cache(maxsize=8)
def sides(wide: float, span: int) -> Response:
    """What is added to the left and taken from the right, against the middle."""
    import numpy as np

    hz = np.arange(span // 2 + 1) * (RATE / span)
    inside = (hz / WIDTH_LOW_HZ) ** 4
    inside = inside / (1 + inside) / (1 + (hz / WIDTH_HIGH_HZ) ** 4)
    late = np.exp(-2j * np.pi * hz * (round(WIDTH_MS * RATE / 1000) / RATE))
    return np.asarray(wide * inside * late, np.complex64)


def high_pass(cut_hz: float) -> tuple[float, float, float, float, float]:
    """Second-order Butterworth as b0 b1 b2 a1 a2; nothing is cut at 0 Hz."""
    if not cut_hz:
        return 1.0, 0.0, 0.0, 0.0, 0.0
    warped = math.tan(math.pi * cut_hz / RATE)
    scale = 1 / (1 + math.sqrt(2) * warped + warped**2)
    a1, a2 = 2 * (warped**2 - 1) * scale, (1 - math.sqrt(2) * warped + warped**2) * scale
    return scale, -2 * scale, scale, a1, a2


def _bell(hz: float, gain_db: float, q: float) -> tuple[float, float, float, float, float]:
    """A peaking filter, or with no Q a high shelf of slope 1."""
    turn = 2 * math.pi * hz / RATE
    cosine, sine = math.cos(turn), math.sin(turn)
    up: float = 10 ** (gain_db / 40)
    if q:
        bend = sine / (2 * q)
        a0 = 1 + bend / up
        return (
            (1 + bend * up) / a0,
            -2 * cosine / a0,
            (1 - bend * up) / a0,
            -2 * cosine / a0,
            (1 - bend / up) / a0,
        )
    bend = 2 * math.sqrt(up) * sine * math.sqrt(0.5)
    a0 = up + 1 - (up - 1) * cosine + bend
    return (
        up * (up + 1 + (up - 1) * cosine + bend) / a0,
        -2 * up * (up - 1 + (up + 1) * cosine) / a0,
        up * (up + 1 + (up - 1) * cosine - bend) / a0,
        2 * (up - 1 - (up + 1) * cosine) / a0,
        (up + 1 - (up - 1) * cosine - bend) / a0,
    )
