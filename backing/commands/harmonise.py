"""Chords for a melody as a command: what is asked read from text, results as text and as JSON. Nothing here prints."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from os.path import exists
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from backing.ground.errors import RequestError
from backing.reading.asked import PLAIN, Reading

if TYPE_CHECKING:
    from backing.commands.options import Options
    from backing.commands.progress import Progress, Warn
    from backing.harmonising.fill import Task
    from backing.harmonising.harmonise import Harmonisation, Placed
    from backing.harmonising.wishes import Kept, Wishes

NOTE = r"[A-Ga-g][#b♯♭]{0,2}"
NOTES = "<notes>"  # the name of a chart made from notes in quotes
MOST_RESULTS = 50
CLOSE = 0.08  # two keys whose fit differs by less are both named


class Asked(NamedTuple):
    """What was typed: all as text but numbers and flags."""

    manner: str = "colourful"
    every: str = "auto"
    key: str | None = None
    bass: str = "free"
    results: int = 8
    choose: int = 1
    keep: str = ""
    avoid: tuple[str, ...] = ()
    again: bool = False
    meter: str | None = None
    pickup: str = ""
    reading: Reading = PLAIN


class Found(NamedTuple):
    """Harmonisations of a melody, the chart of each, and what was assumed on the way."""

    task: Task
    results: tuple[Harmonisation, ...]
    charts: tuple[str, ...]
    assumed: tuple[str, ...]


def find(melody: str, asked: Asked) -> Found:
    """Harmonise a chart file (or `-`), or notes as they are typed.

    Raises `ChartError`, `OutputError`, `RequestError`.
    """
    from backing.chart.parse import parse
    from backing.harmonising.fill import filled, task_of
    from backing.harmonising.harmonise import harmonise

    wishes = read_wishes(asked)
    text, name, assumed = read_melody(melody, asked)
    chart = parse(text, name, wanted=True)
    task = task_of(chart, wishes.every, asked.again)
    results = tuple(harmonise(task.melody, wishes, task.places))[: max(asked.results, asked.choose)]
    if asked.choose > len(results):
        raise RequestError(f"--choose {asked.choose}: there are {len(results)} results")
    if wishes.key is None and task.melody.key is None:
        assumed += key_words(task)
    return Found(task, results, tuple(filled(task, r) for r in results), assumed)


def read_melody(melody: str, asked: Asked) -> tuple[str, str, tuple[str, ...]]:
    """The text of a chart, its name for diagnostics, and what was assumed."""
    if not melody.strip():
        raise RequestError(
            "no melody was named; write notes in quotes, such as 'G4 A4 B4', or name a chart"
        )
    from backing.commands.reading import read_as_text
    from backing.harmonising.fill import notes_as_chart

    if melody == "-" or not looks_like_notes(melody):
        for option, value in (("--meter", asked.meter), ("--pickup", asked.pickup)):
            if value:
                raise RequestError(f"{option} is for notes in quotes; write it into the chart")
        return read_as_text(Path(melody), asked.reading)
    from backing.ground.timebase import Meter

    melody = re.sub(r"(?<![\w#])[a-g](?=[#b♯♭]*-?\d)", lambda m: m[0].upper(), melody)
    meter = asked.meter or "4/4"
    written = re.fullmatch(r"(\d{1,2})/(\d{1,2})(?: \(([\d+]+)\))?", meter.strip())
    try:
        Meter.of(int(written[1]), int(written[2])) if written else None
    except ValueError:
        written = None
    if not written:
        raise RequestError(f"--meter {meter}: write a meter such as 3/4, 6/8 or 7/8 (2+2+3)")
    assumed = () if asked.meter else ("the meter is taken to be 4/4; say another with --meter",)
    return notes_as_chart(melody, meter, asked.pickup, asked.key or ""), NOTES, assumed


def looks_like_notes(text: str) -> bool:
    """Whether the argument is notes and no file: a note, a hold, a rest, a bracket or a bar line in every word.

    Words apart that name no file are notes where one of them is, so that the wrong ones are answered as notes.

    >>> looks_like_notes("G4 A4 (B4 C5) / | D5"), looks_like_notes("G4 X4"), looks_like_notes("tune.txt")
    (True, True, False)
    """
    words = text.replace("(", " ").replace(")", " ").replace("|", " ").split()
    if words and all(re.fullmatch(NOTE + r"-?\d|/|r", word) for word in words):
        return True
    some = "\n" not in text and any(re.fullmatch(NOTE + r"(-?\d)?", word) for word in words)
    return some and len(words) > 1 and not Path(text).suffix and not exists(text)  # noqa: PTH110 - Path.exists raises where it is too long for a name


def read_wishes(asked: Asked) -> Wishes:
    """Check every option. Raises `RequestError` with what to type instead."""
    from backing.ground.pitch import Key
    from backing.harmonising.harmonise import BLOCK
    from backing.harmonising.wishes import BASSES, EVERY, MANNERS, Wishes

    for option, value, choices in (
        ("--manner", asked.manner, MANNERS),
        ("--every", asked.every, EVERY),
        ("--bass", asked.bass, BASSES),
    ):
        if value not in choices:
            raise RequestError(f"{option} {value}: choose one of {', '.join(choices)}")
    if not 1 <= asked.results <= MOST_RESULTS:
        raise RequestError(f"--results {asked.results}: choose a number from 1 to {MOST_RESULTS}")
    if not 1 <= asked.choose <= MOST_RESULTS:
        raise RequestError(
            f"--choose {asked.choose}: results are counted from 1, to {MOST_RESULTS} at most"
        )
    try:
        key = Key.parse(asked.key) if asked.key else None
    except ValueError:
        raise RequestError(
            f"--key {asked.key}: write a key such as Eb, F# minor or Cm; it names the melody's key and moves nothing"
        ) from None
    results = -(-max(asked.results, asked.choose) // BLOCK) * BLOCK  # so that ranks stay the same
    return Wishes(
        asked.manner,
        asked.every,
        key,
        asked.bass,
        results,
        read_keep(asked.keep),
        read_avoid(asked.avoid),
    )


def read_keep(text: str) -> tuple[Kept, ...]:
    """`1.1=Bbmaj7 4.3=Bb`: bar, counted beat (`3/2` is the second half of the first), chord."""
    from backing.harmonising.wishes import Kept
    from backing.harmony.symbol import SymbolError, read

    found = []
    for word in text.replace(",", " ").split():
        parts = re.fullmatch(r"(\d{1,4})\.(\d{1,2}(?:/\d)?)=(\S+)", word)
        try:
            chord = read(parts[3]) if parts else None
        except SymbolError as wrong:
            raise RequestError(f"--keep {word}: {wrong.message}; {wrong.hint}") from None
        if not parts or chord is None:
            raise RequestError(f"--keep {word}: write bar, beat and chord, such as 4.3=Bb")
        found.append(Kept(int(parts[1]), Fraction(parts[2]), chord))
    return tuple(found)


def read_avoid(texts: Sequence[str]) -> frozenset[str]:
    """Symbols that must not occur, in this program's spelling."""
    from backing.harmony.symbol import SymbolError, read

    found = set()
    for word in " ".join(texts).replace(",", " ").split():
        try:
            chord = read(word)
        except SymbolError as wrong:
            raise RequestError(f"--avoid {word}: {wrong.message}; {wrong.hint}") from None
        if chord is not None:
            found.add(chord.symbol)
    return frozenset(found)


def key_words(task: Task) -> tuple[str, ...]:
    """The key that was found, and the one that nearly was."""
    from backing.harmonising.keys import ranked_keys

    (best, fit), (second, other), *_ = ranked_keys(task.melody)
    words = f"the tune is taken to be in {best.name}"
    near = "nearly as well" if fit - other < CLOSE else "next best"
    words += f"; {second.name} fits {near}"
    return (f"{words} (--key says it)",)


def write(
    found: Found, choose: int, out: Sequence[Path], wish: Options, progress: Progress, warn: Warn
) -> list[Path]:
    """Write the chosen chart (counted from 1) in every form that the endings ask for, as wished; returns the paths."""
    from backing.chart.parse import parse
    from backing.commands.app import make_chart
    from backing.commands.planned import targets

    name = found.task.chart.source.name
    paths = targets(Path(name), out, wish)
    chart = parse(found.charts[choose - 1], name)
    sources = [Path(name)] if name != NOTES else []
    return make_chart(chart, paths, sources, wish, progress, warn)


def report(found: Found, why: bool = False, choose: int = 1) -> str:
    """The ranked charts, the chosen one with its reasons; with `why` all of them."""
    blocks = []
    for result, chart in zip(found.results, found.charts, strict=True):
        lines = [f"{result.rank}.  cost {result.cost:.1f}, in {result.key.name}"]
        lines += [f"    {line}" for line in music_lines(chart)]
        if why or result.rank == choose:
            lines += [f"      {words}" for words in reason_lines(result)]
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks)


def music_lines(chart: str) -> list[str]:
    """The lines of a chart that hold chords."""
    return [line.strip() for line in chart.splitlines() if line.lstrip().startswith(("|", ":|"))]


def reason_lines(result: Harmonisation) -> list[str]:
    width = max((len(p.chord.symbol) for p in result.chords), default=0)
    return [
        f"{place(p):>6}  {p.chord.symbol:<{width}}  " + "; ".join(reason.words for reason in p.why)
        for p in result.chords
    ]


def place(placed: Placed) -> str:
    """Bar and counted beat as `--keep` reads them."""
    return f"{placed.bar}.{placed.place.beat}"


def as_json(found: Found) -> dict[str, object]:
    """The results as `--json` shows them; bars and counted beats as in the timeline file."""
    return {
        "key": found.results[0].key.name,
        "assumed": list(found.assumed),
        "results": [
            {
                "rank": r.rank,
                "cost": round(r.cost, 3),
                "parts": r.parts,
                "chords": [
                    {
                        "bar": p.bar,
                        "beat": str(p.place.beat),
                        "symbol": p.chord.symbol,
                        "melody_degree": p.melody_degree.name if p.melody_degree else None,
                        "why": [
                            {"about": reason.about.value, "words": reason.words} for reason in p.why
                        ],
                    }
                    for p in r.chords
                ],
            }
            for r in found.results
        ],
    }
