"""The words on a sheet: the line under the title, the form, changes at a section, directions, numbers of endings.

Conventions: tempo is shown in the note that is counted. *Sources*: wording of parts as copyists have it (common
practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from backing.chart.ast import LAST, Chart, Direction, EndingKind, Settings
from backing.chart.ast import Text as Words
from backing.chart.words import WORDS, Manner, Takes
from backing.ground.manners import LAST_FOUR, PEDAL, VAMP
from backing.ground.roles import ROLES
from backing.ground.timebase import DYNAMICS, EIGHTH, FOUR_FOUR, Feel, Meter, Tempo
from backing.output import hand
from backing.output.symbols import note, pretty
from backing.timeline.order.items import form_of

HALF = "\U0001d15e"
UNITS: dict[Fraction, str] = {
    Fraction(3): f"{HALF}.",
    Fraction(2): HALF,
    Fraction(3, 2): "♩.",
    Fraction(1): "♩",
    Fraction(3, 4): "♪.",
    EIGHTH: "♪",
}
ENDINGS = {
    EndingKind.RING: "the last chord rings",
    EndingKind.SHORT: "ends short",
    EndingKind.TAG: "ends with a tag",
    EndingKind.RIT: "slows down at the end",
    EndingKind.FADE: "fades",
    EndingKind.AS_WRITTEN: "",
}
INTROS = {
    LAST_FOUR: "intro: the last four bars",
    PEDAL: "intro: four bars over the fifth",
    VAMP: "intro: a vamp of eight bars",
}
INSTRUMENTS = {"Bb": "B♭", "Eb": "E♭", "F": "F"}


def title_words(
    chart: Chart, style: str, tempo: tuple[Fraction, Fraction] | None, transposing: str | None
) -> str:
    """The one plain line under the title: style, tempo, key, and what a player has to know before the first bar."""
    words = [pretty_names(style or chart.settings.style or "")]
    meter = chart.settings.meter or FOUR_FOUR
    if tempo is not None:
        words.append(f"{UNITS.get(tempo[0], '♩')} = {figure(tempo[1])}")
    elif chart.settings.tempo is not None:
        words.append(tempo_words(chart.settings.tempo, meter))
    if chart.settings.key is not None:
        words.append(hand.key_name(chart.settings.key, chart.header.german))
    if chart.settings.feel is not None:
        words.append(feel_words(chart.settings.feel))
    if chart.settings.clave:
        words.append(f"{chart.settings.clave.replace('-', '–')} clave")
    if chart.settings.dynamics is not None:
        words.append(dynamics_words(chart.settings))
    if chart.settings.players is not None:
        words.append(players_words(chart.settings))
    header = chart.header
    if header.capo or header.tuned:
        shapes = None if transposing else chart.settings.key  # a horn has no shapes
        words.append(hand.told(header.capo, header.tuned, shapes, header.german))
    if header.tuning:
        words.append("tuning " + " ".join(note(n, header.german) for n in header.tuning))
    if transposing:
        words.append(f"for instruments in {INSTRUMENTS.get(transposing, transposing)}")
    return ", ".join(w for w in words if w)


def typeset(text: str) -> str:
    """Typed apostrophes as printers set them.

    >>> typeset("the winter's night")
    'the winter’s night'
    """
    return text.replace("'", "’")


def pretty_names(style: str) -> str:
    """A style's name; a path becomes the name of its file."""
    name = style.replace("\\", "/").rsplit("/", 1)[-1]
    return name.removesuffix(".toml")


def figure(number: Fraction) -> str:
    """A figure without needless decimals."""
    return f"{float(number):g}"


def tempo_words(tempo: Tempo, meter: Meter) -> str:
    """`♩ = 132`, `♩. = 66 → 60`."""
    to = "" if tempo.to_bpm is None else f" → {figure(tempo.to_bpm)}"
    return f"{UNITS.get(tempo.unit(meter), '♩')} = {figure(tempo.bpm)}{to}"


def feel_words(feel: Feel) -> str:
    """`swung 16ths, 3 : 2`, `straight`."""
    if feel.straight:
        return "straight"
    ratio = "" if feel.ratio is None else f" {feel.ratio.numerator} : {feel.ratio.denominator}"
    return f"{'swung' if feel.unit_q == EIGHTH else 'swung 16ths'}{ratio}"


def dynamics_words(settings: Settings) -> str:
    """`mp`, `p cresc. to f`."""
    if settings.dynamics is None:
        return ""
    names = {level: name for name, level in DYNAMICS.items()}
    level, to = settings.dynamics.level, settings.dynamics.to
    if to is None:
        return names[level]
    return f"{names[level]} {'cresc.' if to > level else 'dim.'} to {names[to]}"


def players_words(settings: Settings) -> str:
    """`bass and drums only`, `without keys`."""
    if settings.players is None:
        return ""
    roles = [r for r in ROLES if r in settings.players.roles]
    named = " and ".join(filter(None, [", ".join(roles[:-1]), *roles[-1:]]))
    return f"without {named}" if settings.players.all_but else f"{named} only"


def section_words(settings: Settings, meter: Meter, german: bool) -> tuple[str, str]:
    """What changes where a section begins: dynamics, and the rest."""
    words = []
    if settings.key is not None:
        words.append(hand.key_name(settings.key, german))
    if settings.tempo is not None:
        words.append(tempo_words(settings.tempo, meter))
    if settings.style is not None:
        words.append(pretty_names(settings.style))
    if settings.feel is not None:
        words.append(feel_words(settings.feel))
    if settings.clave is not None:
        words.append(f"{settings.clave.replace('-', '–')} clave")
    if settings.players is not None:
        words.append(players_words(settings))
    return dynamics_words(settings), ", ".join(words)


def groups_words(meter: Meter) -> str:
    """`2+2+3` where a meter may be grouped in several ways."""
    if meter.compound or len(meter.groups) < 2:
        return ""
    return "+".join(map(str, meter.groups))


def form_words(chart: Chart) -> str:
    """The order of play in words, "" for a chart of one section that is played once."""
    if chart.header.form is not None:
        names = []
        inside = False
        for item in chart.header.form:
            moved = f" {item.transpose:+d}".replace("-", "−") if item.transpose else ""
            opening = "(" if item.in_chorus and not inside and chart.header.form_repeats > 1 else ""
            inside = item.in_chorus
            names.append(f"{opening}{item.section}{moved}")
        if chart.header.form_repeats > 1:
            last = max(i for i, item in enumerate(chart.header.form) if item.in_chorus)
            names[last] += f") ×{chart.header.form_repeats}"
    else:
        names = [n for n in chart.order if n]
    said = " – ".join(names) if len(names) > 1 else ""
    times = chart.header.choruses or 1
    ending = chart.header.ending
    how = ENDINGS[ending.kind] if ending is not None else ""
    if ending is not None and ending.kind is EndingKind.FADE:
        how = f"fades over {ending.bars} bars"
    intro = INTROS.get(chart.header.intro or "", "") if not form_of(chart).intro else ""
    played = f"{times} choruses" if times > 1 else ""
    return " · ".join(w for w in (intro, said, played, how) if w)


def direction_words(words: Words, before: Meter, meter: Meter) -> tuple[str, str, bool]:
    """What is printed for words over a bar, its manner and whether it stands at the bar's end.

    `before` and `meter` are the meters of the bar before and of this one. Manners: `sign` (large), `fermata` (over its
    chord), `jump` (upright), `words` (italic).
    """
    direction: Direction | None = words.direction
    if direction is None:
        return typeset(pretty(words.text)), "words", False
    word = WORDS[direction.name]
    printed, manner = word.printed, word.manner
    if manner is Manner.BEATS:
        beats = [UNITS.get(m.beat_q, "♩") for m in (before, meter)]
        return " = ".join(beats), "words", False
    if manner is Manner.END:
        return printed, "jump", True
    if direction.value is not None and word.takes is Takes.FRET:
        printed = f"{printed} {figure(direction.value)}"
    elif direction.value is not None:
        printed = f"{printed} to {figure(direction.value)}"
    if direction.role is not None:
        printed = f"{printed} {direction.role}"
    return printed, manner.value, False


def ending_words(numbers: Sequence[int]) -> str:
    """`1.`, `1.–3.`, `1. 3.`, `last time`."""
    if not numbers:
        return ""
    named = [n for n in numbers if n != LAST]
    last = ["last time"] if LAST in numbers else []
    if len(named) > 2 and named[-1] - named[0] == len(named) - 1:
        return " ".join([f"{named[0]}.–{named[-1]}.", *last])
    return " ".join([f"{n}." for n in named] + last)
