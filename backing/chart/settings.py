"""The table of settings, and reading the settings of a chart or a section."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from backing.chart import values
from backing.chart.ast import Written
from backing.chart.codes import Faults, near, quoted
from backing.chart.latin import key_in_letters
from backing.chart.lex import UNDER, Line, invisible
from backing.chart.lookalikes import latin
from backing.ground.manners import PLANS
from backing.ground.source import Span


class Setting(NamedTuple):
    """`field` is the name in `Settings` or, for `chart_only`, in `Header`."""

    field: str
    chart_only: bool
    read: Callable[[str], object] | None  # None where reading needs more than the value
    example: str


def _text(value: str) -> str:
    return value


# name: field, chart alone, reader, example
SETTINGS: dict[str, Setting] = {
    "title":      Setting("title", True, _text, "title: Paper Lantern Waltz"),
    "by":         Setting("by", True, _text, "by: Demo songbook"),
    "notes":      Setting("notes", True, _text, "notes: second verse softer"),
    "key":        Setting("key", False, None, "key: Bb major"),
    "meter":      Setting("meter", False, values.meter, "meter: 4/4"),
    "tempo":      Setting("tempo", False, values.tempo, "tempo: 120"),
    "style":      Setting("style", False, _text, "style: straight-ahead swing"),
    "feel":       Setting("feel", False, values.feel, "feel: swing"),
    "push":       Setting("push_q", False, values.push, "push: 8"),
    "clave":      Setting("clave", False, values.clave, "clave: 2-3"),
    "dynamics":   Setting("dynamics", False, values.dynamics, "dynamics: mf"),
    "players":    Setting("players", False, values.players, "players: bass, drums"),
    "levels":     Setting("levels", False, values.levels, "levels: bass +3, keys -2"),
    "colour":     Setting("colour", False, values.colour, "colour: none"),
    "chords":     Setting("chords", False, values.chords, "chords: numbers"),
    "form":       Setting("form", True, None, "form: (A A B A)"),
    "choruses":   Setting("choruses", True, lambda v: values.number("choruses", v, 1, 999, "choruses: 2"), "choruses: 2"),
    "ending":     Setting("ending", True, values.ending, "ending: ring"),
    "count-in":   Setting("count_in", True, values.count_in, "count-in: 2"),
    "intro":      Setting("intro", True, values.intro, "intro: last 4  or, where a section begins, [Intro] on a line of its own"),
    "plan":       Setting("plan", True, lambda v: values.word("plan", v, PLANS), "plan: flat"),
    "pickup":     Setting("pickup_beats", True, values.pickup, "pickup: 1"),
    "tuned":      Setting("tuned", True, lambda v: values.number("tuned", v, -12, 12, "tuned: -2"), "tuned: -2"),
    "capo":       Setting("capo", True, lambda v: values.number("capo", v, 0, 12, "capo: 3"), "capo: 3"),
    "tuning":     Setting("tuning", True, None, "tuning: D A D G B E"),
    "chord-melody": Setting("chord_melody", True, values.chord_melody, "chord-melody: full"),
    "language":   Setting("language", True, values.language, "language: de"),
    "note-names": Setting("names", True, values.note_names, "note-names: german"),
}  # fmt: skip

TEXTS = ("title", "by", "notes", "style")
UNBOUND = (*TEXTS, "form")
MOST_CHARACTERS = 200  # of any other value
# what people type for it -> the setting
OTHER_NAMES = {
    "composer": "by", "artist": "by", "author": "by", "time": "meter", "time signature": "meter",
    "bpm": "tempo", "speed": "tempo", "groove": "style", "rhythm": "feel", "color": "colour",
    "chorus": "choruses", "repeats": "choruses", "count": "count-in", "countin": "count-in",
    "count in": "count-in", "upbeat": "pickup", "anacrusis": "pickup", "strings": "tuning",
    "transpose": "tuned", "order": "form", "structure": "form", "comment": "notes",
    "dynamic": "dynamics", "volume": "dynamics", "mix": "levels", "balance": "levels", "band": "players", "instruments": "players",
    "note names": "note-names", "name": "title", "lyrics": "words", "lyric": "words", "text": "words",
    "notes played": "melody", "tune": "melody", "lead": "melody", "rhythm hits": "hits", "accents": "hits",
    "time sig": "meter", "signature": "meter", "metre": "meter", "key signature": "key", "tonality": "key",
    "genre": "style", "subtitle": "notes", "arranger": "by", "writer": "by", "written by": "by", "music": "by",
    "titel": "title", "von": "by", "tonart": "key", "takt": "meter", "taktart": "meter", "stil": "style",
    "auftakt": "pickup", "kapodaster": "capo", "lang": "language", "sprache": "language", "melodie": "melody", "arrangement": "form", "roadmap": "form", "count off": "count-in", "count-off": "count-in",
}  # fmt: skip


class Read(NamedTuple):
    """Values by field name, and the settings as typed."""

    values: dict[str, object]
    written: tuple[Written, ...]


def unknown(line: Line, text: str, faults: Faults) -> None:
    """Say what a name that is no setting may have meant."""
    name, value = line.name, text[line.value : line.end]
    at = (line.start, line.start + len(text[line.start : line.value].rstrip(" \t:")))
    if invisible(text, *at):
        return
    meant = latin(name)
    from backing.chart import habits

    section = habits.heading(text[slice(*at)]) if meant == name else None
    if name in OTHER_NAMES and (value or not section):
        hint = f"type  {OTHER_NAMES[name]}:"
    elif section and not value.startswith("|"):
        hint = f"if a section begins here, type  [{section}]  on a line of its own"
    elif value.startswith("|"):
        guess = near(name, UNDER)
        hint = (
            f"did you mean {guess}:?"
            if guess
            else f"a section begins with its name in brackets on a line of its own: [{text[slice(*at)]}]"
        )
    elif meant != name and meant in SETTINGS:
        hint = f"it is typed with letters of another alphabet; type  {meant}:"
    else:
        guess = near(name, [*SETTINGS, *UNDER])
        hint = f"did you mean {guess}:?" if guess else f"the settings are {', '.join(SETTINGS)}"
    faults.add("E201", *at, name=quoted(text[slice(*at)]), hint=hint)


def read(
    found: list[Line],
    plain: str,
    typed: str,
    faults: Faults,
    section: str | None,
    german: bool,
    latin: bool = False,
) -> Read:
    """Evaluate settings; `section` is None for those of the chart. A form is left for later."""
    result: dict[str, object] = {}
    written: list[Written] = []
    seen: dict[str, int] = {}
    for line in found:
        setting = SETTINGS.get(line.name)
        if line.name not in TEXTS:
            hidden = invisible(plain, line.start, line.end)
            if hidden:
                faults.add("E905", *hidden.span(), found=f"U+{ord(hidden[0]):04X}")
                continue
        if setting is None:
            unknown(line, plain, faults)
            continue
        name_end = line.start + len(plain[line.start : line.value].rstrip(" \t:"))
        if section is not None and setting.chart_only:
            faults.add("E204", line.start, name_end, name=line.name, section=section)
            continue
        if line.name in seen:
            faults.add(
                "E203", line.start, name_end, name=line.name, line=faults.line(seen[line.name])
            )
            continue
        seen[line.name] = line.start
        value = plain[line.value : line.end]
        if not value:
            faults.add("E202", line.start, line.end, name=line.name, example=setting.example)
            continue
        as_typed = typed[line.value : line.end]
        span = Span(line.value, line.end)
        written.append(Written(line.name, as_typed, Span(line.start, line.end), span))
        if line.name not in UNBOUND and len(value) > MOST_CHARACTERS:
            faults.add(
                "E908", line.value, line.end, name=line.name, length=len(value), most=MOST_CHARACTERS, example=setting.example
            )  # fmt: skip
            continue
        try:
            if line.name in TEXTS:
                result[setting.field] = as_typed
            elif line.name == "key":
                result["key"] = values.key(key_in_letters(value) if latin else value, german)
            elif line.name == "tuning":
                result["tuning"] = values.tuning(value, german)
            elif setting.read is not None:
                result[setting.field] = setting.read(value)
        except values.Wrong as wrong:
            word = str(wrong.values.get("word", value))
            at = line.value + max(0, value.casefold().find(word.casefold()))
            faults.add(wrong.code, at, min(at + len(word), line.end), **wrong.values)
    return Read(result, tuple(written))


def sharp_keys(
    found: Sequence[Line], comments: Sequence[tuple[int, int, bool]], plain: str, faults: Faults
) -> None:
    """Warn where a blank made a comment of a sharp: `key: F # minor`."""
    behind = {faults.line(start): (start, end) for start, end, alone in comments if not alone}
    for line in found:
        place = behind.get(faults.line(line.start)) if line.name == "key" else None
        if place and len(value := plain[line.value : line.end]) == 1:
            word = plain[slice(*place)][1:].split()[:1]
            if word and word[0].casefold() in ("minor", "major", "m", "min", "maj"):
                example = f"key: {value}# {word[0]}"
                faults.add("W201", *place, key=value, example=example)
