"""A style file, read and checked.

Conventions: a style file is TOML; loading it runs no code and reads no other file but those it is `like`. Every
mistake found is reported with its place; a key that is not known is a mistake.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from pathlib import Path

from backing.chart.ast import Ending, EndingKind
from backing.ground.errors import OutputError, StyleError
from backing.ground.roles import ROLES, named, role_of
from backing.ground.source import Diagnostic, Source, Span
from backing.ground.timebase import EIGHTH, SHUFFLE, SIXTEENTH, STRAIGHT, Feel, Meter
from backing.styles import shelf
from backing.styles.faults import MOST_HELD, Faults, Table, meter_of
from backing.styles.model import Idea, Part, Pattern, Style, Where
from backing.styles.parts import ROLES_OF_STYLES, line_of, read_part

KEYS = (
    "name", "about", "source", "like", "without", "meters", "tempo", "feel", "grid", "colour", "altered", "doubles", "repeats", "hold",
    "clave", "runs_on", "core", "idea", "ending", "count_in", "last_chord",
)  # fmt: skip
IDEA_KEYS = ("weight", "hold", "rest")
GRIDS = {"eighths": EIGHTH, "sixteenths": SIXTEENTH, "triplets": Fraction(1, 3)}
CLAVES = ("2-3", "3-2")
FEELS = "straight, swing, swing 16, shuffle, swing 3:2, swing 16 3:2, sixteenths 28:20:22:30"
MOST_BYTES = 1_000_000  # of a style file; the longest that come with the package have 20,000
TALKS, HOLDS = 4, 8  # bars for which a figure is held in jazz, and elsewhere (common practice)
DEEPEST = 5  # styles that a style may be like, one after the other


def load(path: Path) -> Style:
    """The style in a file. Raises `StyleError` with every mistake, `OutputError` when it cannot be read."""
    return load_text(text_of(path), str(path))


def load_text(text: str, name: str) -> Style:
    """The style in a text; `name` is the file's, for messages and for a style that does not say its own."""
    style, found = _read(text, name, 0)
    if found or style is None:
        raise StyleError(found)
    return style


def check(path: Path) -> tuple[Diagnostic, ...]:
    """Every mistake in a style file, in the order of the text. Raises `OutputError` when it cannot be read."""
    return _read(text_of(path), str(path), 0)[1]


def text_of(path: Path) -> str:
    """The text of a style file. Raises `OutputError`."""
    try:
        if path.exists() and not path.is_file():
            what = "a folder" if path.is_dir() else "no plain file"
            raise OutputError(f"{path}: a style is a file that ends in .toml; this is {what}")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        if len(data) > MOST_BYTES:
            raise OutputError(f"{path}: this is no style file: it is longer than 1 MB")
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except OSError as wrong:
        raise OutputError(
            f"{path}: the style file cannot be read ({wrong.strerror or wrong})"
        ) from wrong
    except UnicodeDecodeError as wrong:
        raise OutputError(f"{path}: the style file is not UTF-8 text") from wrong


Read = tuple[Style | None, tuple[Diagnostic, ...]]


def _read(text: str, name: str, depth: int) -> Read:
    """A style and its mistakes. The same text gives the same object, and so its patterns are found again at once."""
    source = Source(name, text.replace("\r\n", "\n"))
    try:
        data = _toml(source.text)
    except tomllib.TOMLDecodeError as wrong:
        return None, (_not_toml(source, str(wrong)),)
    except RecursionError:
        return None, (_not_toml(source, "brackets are nested too deeply"),)
    except ValueError:  # the reader of the standard library leaves it to `int`, which has a limit
        return None, (_not_toml(source, "a number has too many digits"),)
    if "like" not in data:
        return _whole(source.text, name, None, ())
    faults = Faults(source)
    return _whole(source.text, name, _base(data, faults, depth), faults.found)


@lru_cache(maxsize=256)
def _toml(text: str) -> dict[str, object]:
    return tomllib.loads(text)


@lru_cache(maxsize=256)
def _whole(text: str, name: str, base: Style | None, before: tuple[Diagnostic, ...]) -> Read:
    """The style of a text over `base`, and what is wrong, `before` first."""
    faults = Faults(Source(name, text), before)
    return _style(Table(_toml(text), (), faults), name, base), faults.found


def _not_toml(source: Source, message: str) -> Diagnostic:
    found = re.search(r"line (\d+), column (\d+)", message)
    at = len(source.text.rstrip())
    if long := re.search(r"\d{4000}|\[{50}|(?:\{\s*\w+\s*=\s*){50}", source.text):
        at = long.start()
    if found:
        lines = source.text.split("\n")
        at = sum(len(line) + 1 for line in lines[: int(found[1]) - 1]) + int(found[2]) - 1
    what = re.sub(r"\s*\(at .*\)$", "", message)
    hint = "text stands in double quotes, one 'key = value' a line; styles/_template.toml shows each key"
    return Diagnostic("S101", f"this is not TOML: {what.lower()}", hint, Span(at, at + 1), source)


def _base(data: dict[str, object], faults: Faults, depth: int) -> Style | None:
    """The style that this one is like."""
    like = data.get("like")
    if not isinstance(like, str):
        return None
    path = Path(faults.source.name).parent / like if shelf.is_path(like) else shelf.path_of(like)
    if path is None or not path.is_file():
        near = shelf.nearest_name(like)
        hint = f"did you mean '{near}'?" if near else "`backing styles` lists the styles"
        faults.add("S107", ("like",), f"there is no style '{like}'", hint)
        return None
    if depth >= DEEPEST:
        faults.add(
            "S107",
            ("like",),
            f"more than {DEEPEST} styles are like one another in a row",
            "name a style that stands by itself",
        )
        return None
    style, found = _read(text_of(path), str(path), depth + 1)
    if found:
        faults.add(
            "S107",
            ("like",),
            f"'{like}' has mistakes of its own: {found[0].headline()}",
            f"mend {path} first",
        )
        return None
    return style


def _style(table: Table, file: str, base: Style | None) -> Style | None:
    """The style of a table, over `base`; None when something that every style must say is missing or wrong."""
    players = [p for role in ROLES if role in ROLES_OF_STYLES for p in role_of(role).players]
    table.only((*KEYS, *players))
    name = table.text("name", Path(file).stem.replace("-", " "))
    if "name" in table.data and shelf.is_path(file) and shelf.file_name(name) != Path(file).name:
        table.fault("S104", "name", f"'{name}' does not fit the file's name", _right_name(file))
    about = table.text("about", base.about if base else None)
    source = table.text("source", base.source if base else None)
    meters = _meters(table, base)
    low, usual, high = _tempo(table, base)
    feel = _feel(table, base)
    grid = table.choice("grid", tuple(GRIDS), None)
    if "like" not in table.data or base:
        for key in ("about", "source", "meters", "tempo"):
            if key not in table.data and base is None:
                table.missing(key)
    style = Style(
        name=name,
        about=about,
        source=source,
        meters=meters,
        low_bpm=low,
        usual_bpm=usual,
        high_bpm=high,
        feel=feel,
        grid_q=GRIDS[grid] if grid else base.grid_q if base else EIGHTH,
        colour=table.flag("colour", base.colour if base else False),
        altered=table.flag("altered", base.altered if base else True),
        doubles=table.flag("doubles", base.doubles if base else False),
        repeats=table.flag("repeats", base.repeats if base else False),
        clave=table.choice("clave", CLAVES, base.clave if base else None),
        parts=(),
        runs=table.flag("runs_on", base.runs if base else False),
        ideas=_ideas(table.table("idea"), tuple(players), base),
        core=table.words("core", tuple(players))
        if "core" in table.data
        else base.core
        if base
        else (),
    )
    style = style._replace(
        ending=_ending(table, base.ending if base else None),
        count_in=_count_in(table, base.count_in if base else None),
        last_chord=_last_chord(table, style, base.last_chord if base else None),
        hold=table.bars("hold", base.hold if base else TALKS if _talks(style) else HOLDS),
    )
    parts = _parts(table, style, base, players)
    if not parts and not table.faults.found:
        table.fault("S102", None, "this style has no players", "add a table such as [drums]")
    if not table.faults.found:
        _played(table, style.ideas, parts)
    return style._replace(parts=tuple(parts))


def _parts(table: Table, style: Style, base: Style | None, players: Sequence[str]) -> list[Part]:
    """What every player of the style plays, taken over from `base` where its own table does not say."""
    without = table.words("without", tuple(players))
    parts = []
    for role in players:
        inherited = base.part(role) if base and not named(role, without) else None
        own = role in table.data
        part = read_part(table.table(role), role, style, inherited) if own else inherited
        if part is not None:
            parts.append(part)
    return parts


def _talks(style: Style) -> bool:
    """Whether it is played as jazz is: in swung eighths, with colours that nobody has written."""
    return style.colour and not style.feel.straight and style.feel.unit_q == EIGHTH


def _played(table: Table, ideas: Sequence[Idea], parts: Sequence[Part]) -> None:
    """Note every idea that nobody has anything for."""
    for idea in ideas:
        if not idea.rest and not any(part.has(idea.name) for part in parts):
            what = f"nobody plays the idea '{idea.name}'"
            hint = (
                f'write idea = "{idea.name}" in its patterns, or rest = ["keys"] for who leaves off'
            )
            path = ("idea", idea.name)
            table.faults.add("S102", path, what, hint, table.faults.places.key(path))


def _ideas(table: Table, players: tuple[str, ...], base: Style | None) -> tuple[Idea, ...]:
    """The ideas of the whole band, over those of the style that this one is like."""
    found = {idea.name: idea for idea in (base.ideas if base else ())}
    for name in table.data:
        inner, old = table.table(name), found.get(name, Idea(name))
        inner.only(IDEA_KEYS)
        found[name] = Idea(
            name,
            inner.number("weight", old.weight, 0.01, 100),
            inner.bars("hold", old.hold),
            inner.words("rest", players) if "rest" in inner.data else old.rest,
        )
    return tuple(found.values())


def _ending(table: Table, old: Ending | None) -> Ending | None:
    """How it ends where the chart does not say, in the chart's words."""
    written = table.text("ending", "")
    if not written:
        return old
    fade = re.fullmatch(r"fade ([1-9]\d?)", written)
    if fade and int(fade[1]) <= MOST_HELD:
        return Ending(EndingKind.FADE, int(fade[1]))
    kinds = {kind.value: kind for kind in EndingKind if kind is not EndingKind.FADE}
    if written not in kinds:
        table.unknown(("ending",), "ending", written, (*kinds, "fade 8"))
        return old
    return Ending(kinds[written])


def _count_in(table: Table, old: int | None) -> int | None:
    """Bars of count-in where the chart does not say, 0 for none."""
    if table.data.get("count_in") == "off":
        return 0
    if "count_in" not in table.data:
        return old
    if isinstance(table.data["count_in"], str):
        table.fault(
            "S104", "count_in", "'count_in' should be a number of bars", 'write 2, or "off"'
        )
        return old
    bars = table.number("count_in", 2, 1, 8)
    return int(bars)


def _last_chord(table: Table, style: Style, old: Pattern | None) -> Pattern | None:
    """The rhythm of the last bar, in the style's first meter."""
    line = line_of(table, "last_chord", style.meters[0], "drum")
    if line is None:
        return old
    if len(line) > 1 or not any(pulse.cells for pulse in line[0]):
        hint = 'such as "X . X ."; = holds, so that the last one rings: "X . X= =="'
        table.fault("S106", "last_chord", "the last chord has one bar, and a stroke in it", hint)
        return old
    return Pattern("last chord", style.meters[0], 1, "mf", Where.CLOSE, 1.0, {"chord": line})


def _right_name(file: str) -> str:
    return f'write name = "{Path(file).stem.replace("-", " ")}", or rename the file'


def _meters(table: Table, base: Style | None) -> tuple[Meter, ...]:
    written = table.list_of_text("meters")
    meters = []
    for i, text in enumerate(written or ()):
        meter = meter_of(text)
        if meter is None:
            table.faults.add(
                "S105", ("meters", i), f"'{text}' is no meter", 'write "4/4" or "7/8 (2+2+3)"'
            )
        else:
            meters.append(meter)
    return tuple(meters) or (base.meters if base else (Meter.of(4, 4),))


def _tempo(table: Table, base: Style | None) -> tuple[float, float, float]:
    old = (base.low_bpm, base.usual_bpm, base.high_bpm) if base else (60.0, 120.0, 240.0)
    if "tempo" not in table.data:
        return old
    tempo = table.table("tempo")
    tempo.only(("low", "usual", "high"))
    low, usual, high = (
        tempo.number(key, value, 10, 400)
        for key, value in zip(("low", "usual", "high"), old, strict=True)
    )
    if not low <= usual <= high:
        table.fault(
            "S104",
            "tempo",
            f"the tempo {usual:g} does not lie in {low:g} to {high:g}",
            "low ≤ usual ≤ high",
        )
    return low, usual, high


def _feel(table: Table, base: Style | None) -> Feel:
    written = table.text("feel", "")
    if not written:
        return base.feel if base else STRAIGHT
    if written == "straight":
        return STRAIGHT
    if written == "shuffle":
        return SHUFFLE
    if four := re.fullmatch(r"sixteenths (\d{1,3}):(\d{1,3}):(\d{1,3}):(\d{1,3})", written):
        shares = tuple(map(int, four.groups()))
        if min(shares) * 4 >= max(shares) > 0:
            return Feel(SIXTEENTH, None, shares)
    found = re.fullmatch(r"swing( 16)?(?: (\d+(?:\.\d+)?):(\d+(?:\.\d+)?))?", written)
    ratio = (
        Fraction(found[2]) / Fraction(found[3])
        if found and found[2] and Fraction(found[3])
        else None
    )
    if not found or (ratio is not None and not 1 <= ratio <= 4):
        table.fault("S105", "feel", f"'{written}' is no feel", f"write one of: {FEELS}")
        return STRAIGHT
    return Feel(SIXTEENTH if found[1] else EIGHTH, ratio)
