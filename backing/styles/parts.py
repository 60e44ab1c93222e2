"""One player of a style file: instrument, algorithms with their settings, mix, and patterns."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from backing.ground.instruments import DRUM_KEYS, INSTRUMENTS, Instrument
from backing.ground.roles import role_of
from backing.ground.source import nearest
from backing.ground.timebase import Meter
from backing.styles.algorithms import ALGORITHMS, Setting
from backing.styles.cells import CellError, Line, led, read
from backing.styles.faults import Table, meter_of
from backing.styles.grid import NEAREST
from backing.styles.marks import LINES
from backing.styles.model import BEATS, ENERGIES, PLACES, SIDES, Part, Pattern, Style, Value, Where

ROLES_OF_STYLES = tuple(ALGORITHMS)
LEVELS = ("p", "mf", "f")
PART_KEYS = (
    "instrument", "plays", "settings", "fresh", "level_db", "pan", "room", "late_ms", "spread_ms", "low", "high",
    "hold", "timing", "pattern",
)  # fmt: skip
PATTERN_KEYS = (
    "name",
    "meter",
    "level",
    "where",
    "for",
    "idea",
    "side",
    "weight",
    "hold",
    "timing",
    "lines",
)
DRUM_PATTERN_KEYS = (*PATTERN_KEYS, "vary", "ghosts")
PLACES_OF_SECTIONS = tuple(w.value for w in Where if w is not Where.COUNT_IN)
DEGREES = ("1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7")
LATEST_MS = 60.0  # that a single drum or place in the beat may be ahead or behind

_NOTE = re.compile(r"([A-G])([b#]?)(-?\d)")
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def read_part(table: Table, role: str, style: Style, inherited: Part | None) -> Part | None:
    """The player of a table over the `inherited` one; None when it has no instrument."""
    table.only(PART_KEYS)
    old = None if table.flag("fresh", False) else inherited
    kind = role_of(role).name
    instruments = _instruments(table, old)
    if not instruments:
        return None
    instrument = instruments["mf"]
    changed = old is not None and instrument.name != old.instrument.name
    floor = old.low if old and not changed else instrument.low
    ceiling = old.high if old and not changed else instrument.high
    plays = _plays(table, kind, old)
    part = Part(
        role=role,
        instrument=instrument,
        plays=plays,
        settings=_settings(table, kind, plays, old),
        level_db=table.number("level_db", old.level_db if old else 0.0, -40, 12),
        pan=table.number("pan", old.pan if old else 0.0, -1, 1),
        room=table.number("room", old.room if old else 0.2, 0, 1),
        late_ms=table.number("late_ms", old.late_ms if old else 0.0, -40, 40),
        spread_ms=table.number("spread_ms", old.spread_ms if old else 6.0, 0, 20),
        low=_note(table, "low", floor),
        high=_note(table, "high", ceiling),
        hold=table.bars("hold", old.hold if old else 0),
        timing=_timing(table.table("timing"), kind, old),
        instruments=instruments if len(set(instruments.values())) > 1 else {},
    )
    if part.low > part.high:
        table.fault(
            "S104",
            "low" if "low" in table.data else "high",
            "the range is empty",
            "low lies below high",
        )
    patterns = _patterns(table, kind, style, old, instrument.decays)
    if "pattern" in plays.values() and not patterns and not table.faults.found:
        hint = f"add a table headed [[{_key(role)}.pattern]]"
        table.fault("S102", None, f"the {role} plays patterns and has none", hint)
    return replace(part, patterns=patterns)


def _instruments(table: Table, old: Part | None) -> dict[str, Instrument]:
    """Its instrument at every level; empty where it has none. A level that is left out takes the nearest one's."""
    if "instrument" not in table.data:
        if old is None:
            table.missing("instrument")
            return {}
        return dict(old.instruments) or dict.fromkeys(LEVELS, old.instrument)
    if not isinstance(table.data["instrument"], dict):
        name = table.choice("instrument", tuple(INSTRUMENTS), None)
        return dict.fromkeys(LEVELS, INSTRUMENTS[name]) if name else {}
    inner = table.table("instrument")
    inner.only(LEVELS)
    names = {level: inner.choice(level, tuple(INSTRUMENTS), None) for level in LEVELS}
    found = {level: INSTRUMENTS[name] for level, name in names.items() if name}
    if not found and not table.faults.found:
        table.fault(
            "S102",
            "instrument",
            "no level has an instrument",
            'write { p = "brush kit", mf = "drum kit" }',
        )
    return {
        level: next(found[n] for n in NEAREST[level] if n in found) for level in LEVELS if found
    }


def _plays(table: Table, role: str, old: Part | None) -> dict[str, str]:
    names = tuple(ALGORITHMS[role])
    default = (
        dict(old.plays)
        if old
        else dict.fromkeys(LEVELS, "pattern" if "pattern" in names else names[0])
    )
    written = table.data.get("plays")
    if written is None:
        return default
    if isinstance(written, str):
        chosen = table.choice("plays", names, None)
        return dict.fromkeys(LEVELS, chosen) if chosen else default
    inner = table.table("plays")
    inner.only(LEVELS)
    return {level: inner.choice(level, names, None) or default[level] for level in LEVELS}


def _settings(
    table: Table, role: str, plays: Mapping[str, str], old: Part | None
) -> dict[str, Value]:
    known: dict[str, Setting] = {}
    for name in sorted(set(plays.values())):
        known.update(ALGORITHMS[role][name].settings)
    inner = table.table("settings")
    inner.only(tuple(known))
    settings = {k: v for k, v in (old.settings if old else {}).items() if k in known}
    for key in inner.data:
        if key in known:
            settings[key] = _setting(inner, key, known[key])
    return settings


def _setting(table: Table, key: str, setting: Setting) -> Value:
    if setting.kind == "flag":
        return table.flag(key, bool(setting.default))
    if setting.kind == "number":
        assert isinstance(setting.default, int | float)
        return table.number(key, setting.default, setting.low, setting.high)
    if setting.kind == "degrees":
        return _degrees(table, key)
    if setting.kind == "words":
        return table.words(key, setting.choices)
    return table.choice(key, setting.choices, None) or str(setting.default)


def _degrees(table: Table, key: str) -> str:
    """Degrees of the key between blanks."""
    text = table.text(key, "")
    for word in text.split():
        if word not in DEGREES:
            table.unknown((*table.path, key), "degree of the key", word, DEGREES)
    return " ".join(text.split())


def _timing(table: Table, role: str, old: Part | None = None) -> dict[str, float]:
    """Milliseconds by drum, by place in the beat or beat of the bar, and by that of a drum, over those that it is like."""
    names = (*PLACES, *BEATS, *(() if role_of(role).pitched else DRUM_KEYS))
    table.only(names)
    found = dict(old.timing) if old else {}
    for name, value in table.data.items():
        if name in DRUM_KEYS and isinstance(value, dict):
            inner = table.table(name)
            inner.only((*PLACES, *BEATS))
            for place in inner.data:
                found[f"{name} {place}"] = inner.number(place, 0.0, -LATEST_MS, LATEST_MS)
        elif name in names:
            found[name] = table.number(name, 0.0, -LATEST_MS, LATEST_MS)
    return found


def _note(table: Table, key: str, default: int) -> int:
    """A sounding note, as a name (`E2`) or a MIDI number."""
    value = table.data.get(key, default)
    if isinstance(value, str) and (found := _NOTE.fullmatch(value)):
        value = _STEPS[found[1]] + {"": 0, "b": -1, "#": 1}[found[2]] + 12 * (int(found[3]) + 1)
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 127:
        return value
    table.fault(
        "S104",
        key,
        f"'{table.data[key]}' is no note",
        'write a name such as "E2", or a MIDI number',
    )
    return default


def _patterns(
    table: Table, role: str, style: Style, old: Part | None, decays: bool
) -> tuple[Pattern, ...]:
    """Inherited patterns, those with a name that is written again replaced, then the new ones."""
    own: dict[str, Pattern] = {}
    for inner in table.tables("pattern"):
        pattern = _pattern(inner, role, style, decays)
        if pattern is None:
            continue
        if pattern.name in own:
            inner.fault(
                "S105",
                "name",
                f"there are two patterns '{pattern.name}'",
                "give each a name of its own",
            )
        own[pattern.name] = pattern
    kept = tuple(own.pop(p.name, p) for p in (old.patterns if old else ()))
    return kept + tuple(own.values())


def _pattern(table: Table, role: str, style: Style, decays: bool) -> Pattern | None:
    pitched = role_of(role).pitched
    table.only(PATTERN_KEYS if pitched else DRUM_PATTERN_KEYS)
    for key in ("name", "lines"):
        if key not in table.data:
            table.missing(key)
    meter = style.meters[0]
    if "meter" in table.data:
        written = meter_of(table.text("meter", None))
        if written is None:
            table.fault(
                "S105",
                "meter",
                f"'{table.data['meter']}' is no meter",
                'write "4/4" or "7/8 (2+2+3)"',
            )
            return None
        meter = written
    places = PLACES_OF_SECTIONS if pitched else (*PLACES_OF_SECTIONS, Where.COUNT_IN.value)
    where = table.choice("where", places, "time")
    lines, into = _lines(table.table("lines"), role, meter, decays)
    bars = max((len(line) for line in lines.values()), default=1)
    found = Pattern(
        name=table.text("name", None),
        meter=meter,
        bars=bars,
        level=table.choice("level", LEVELS, "mf") or "mf",
        where=Where(where or "time"),
        weight=table.number("weight", 1.0, 0.01, 100),
        lines=lines,
        swung=style.feel.swung_eighths,
        hold=table.bars("hold", 0),
        vary=table.number("vary", 0.0, 0, 1) if "vary" in table.data else None,
        ghosts=table.number("ghosts", 1.0, 0, 1),
        idea=_idea(table, style),
        energies=table.one_or_more("for", ENERGIES),
        side=_side(table, style, bars),
        timing=_timing(table.table("timing"), role),
        into=into,
    )
    return found if lines and "name" in table.data else None


def _idea(table: Table, style: Style) -> str:
    """The idea of the band that a pattern belongs to, "" for none."""
    names = tuple(idea.name for idea in style.ideas)
    if "idea" in table.data and not names:
        hint = f"add a table headed [idea.{_key(table.data['idea'])}]"
        table.fault("S105", "idea", f"there is no idea '{table.data['idea']}'", hint)
        return ""
    return table.choice("idea", names, None) or ""


def _key(name: object) -> str:
    """A name as a key of TOML has it."""
    return str(name) if re.fullmatch(r"[A-Za-z0-9_-]+", str(name)) else f'"{name}"'


def _side(table: Table, style: Style, bars: int) -> str:
    """The side of the clave that a pattern of one bar is for."""
    side = table.choice("side", SIDES, None)
    if side and style.clave is None:
        hint = 'write clave = "2-3" or "3-2" at the top, or leave it out'
        table.fault("S105", "side", "this style has no clave that could have sides", hint)
    elif side and bars > 1:
        hint = "a pattern of two bars begins with the side that the style's clave begins with"
        table.fault("S104", "side", f"a pattern of {bars} bars is on both sides of the clave", hint)
    return side or ""


# Kind of every line that a player has, by role; the drums of those without pitch are lines too.
_OF_KEYS = {"chord": "chord", "bass": "left hand", **dict.fromkeys(LINES, "line")}
_OF_GUITAR = {"chord": "strings", "bass": "thumb", **dict.fromkeys(LINES, "run")}
_OF_SECTION = {"chord": "chord", **dict.fromkeys(LINES, "line")}
_KINDS: Mapping[str, Mapping[str, str]] = {
    "bass": {"bass": "bass"},
    "keys": _OF_KEYS,
    "guitar": _OF_GUITAR,
    "strings": _OF_SECTION,
    "horns": _OF_SECTION,
    "drums": dict.fromkeys(DRUM_KEYS, "drum"),
    "percussion": dict.fromkeys(DRUM_KEYS, "drum"),
}


def line_of(
    table: Table, name: str, meter: Meter, kind: str, into: dict[str, str] | None = None
) -> Line | None:
    """A line of cells, None where there is none that can be read; what it leads to goes `into` a table."""
    text = table.text(name, None)
    if not text:
        return None
    try:
        if into is not None:
            text, mark = led(text, kind)
            if mark:
                into[name] = mark
        return read(text, meter, kind)
    except CellError as wrong:
        path = (*table.path, name)
        span = table.faults.places.inside(path, wrong.at, wrong.length)
        table.faults.add("S106", path, str(wrong), wrong.hint, span)
        return None


# What may swell where the instrument sounds as long as it is held.
_HELD = {"chord": "held chord", "line": "held line"}


def _lines(
    table: Table, role: str, meter: Meter, decays: bool
) -> tuple[dict[str, Line], dict[str, str]]:
    """The lines of a pattern, and by line the mark of the stroke that they lead to."""
    lines: dict[str, Line] = {}
    into: dict[str, str] = {}
    kinds = _KINDS.get(role, {})
    for name in table.data:
        kind = kinds.get(name)
        if kind is None:
            names = tuple(kinds)
            near = nearest(name, names)
            hint = f"did you mean '{near}'?" if near else f"write one of: {', '.join(names)}"
            path = (*table.path, name)
            message = f"there is no line '{name}' for the {role}"
            table.faults.add("S105", path, message, hint, table.faults.places.key(path))
            continue
        if line := line_of(table, name, meter, kind if decays else _HELD.get(kind, kind), into):
            lines[name] = line
    longest = max((len(line) for line in lines.values()), default=0)
    for name, line in lines.items():
        if longest % len(line):
            table.fault(
                "S106",
                name,
                f"this line has {len(line)} bars beside one of {longest}",
                "lines of a pattern are equally long, or fit into the longest a whole number of times",
            )
            continue
        lines[name] = line * (longest // len(line))
    return lines, into
