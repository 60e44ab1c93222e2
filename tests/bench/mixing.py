"""The mix of every style by meters and by a listener, and what would bring its players into balance.

    python -m tests.bench.mixing [--write] [STYLE …]

Each style plays sixteen triads at mf (and sixteen sevenths where jazz, blues or funk is played), four bars at p and at f,
and four choruses without dynamics. Told of each: the share of bars in which thirds are heard, in which the whole chord is
named, and in which sevenths are heard; loudness of each stem under the mix; those who sound the thirds against the rest
of the band in their octave; bass against kick below 120 Hz; the stem that leans most, what a fold to mono loses, sides
against middle above 6 kHz; what the limiter takes at f; how much brighter f is than p; the span of the choruses
(those with a drop apart) and the first against the whole. A figure that is out of its bounds has a `!`. Last come trims: decibels that bring thirds to
within 3 dB of the rest and nobody who comps under 9 dB; `--write` adds them to the styles' levels.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from backing.ground.roles import role_of
from backing.styles.find import names
from backing.styles.shelf import folders
from tests import mixes
from tests.mixes import CHORDAL, NO_THIRDS, OCTAVES, SEVENTH_STYLES, SEVENTHS, TRIADS, Take

LEAST_THIRDS, LEAST_SEVENTHS = 0.9, 0.75
UNDER_DB = 3.0  # most that those with the thirds lie under the rest of their octave
COMPING_DB = (
    9.0  # most that anybody who comps lies under the rest of the octave where it is strongest
)
MOST_TRIM_DB = 5.0
MOST_LEAN_DB, MOST_LOST_DB, SIDES_DB = 6.0, 1.0, -6.0
MOST_TAKEN_DB, MEAN_TAKEN_DB = 6.0, 0.2
SPAN_LU, FIRST_LU = 4.0, 2.5
_THIRDS_FROM = OCTAVES.index(250)
_THIRDS_TO = OCTAVES.index(2000) + 1


class Line:
    """A row that is printed figure by figure, with a mark at those out of bounds."""

    def __init__(self, style: str) -> None:
        self.over = 0
        self._text = f"{style:24}"

    def add(self, words: str, good: bool = True) -> None:
        self.over += not good
        self._text += f" {words}{'' if good else '!'}"

    def __str__(self) -> str:
        return self._text


def powers(taken: Take) -> dict[str, np.ndarray]:
    return {role: mixes.octaves(stem) for role, stem in taken.stems.items()}


def under_db(own: np.ndarray, whole: np.ndarray, low: int, high: int) -> float:
    """How far some players lie above the rest of the band in the octave of theirs that is strongest."""
    at = low + int(own[low:high].argmax())
    return mixes.db(float(own[at])) - mixes.db(float(whole[at] - own[at]))


def trims(taken: Take) -> dict[str, float]:
    """What brings comping players up to where they tell, in half decibels; nothing is made softer."""
    found: dict[str, float] = {}
    bands = powers(taken)
    for role, own in bands.items():
        whole = np.sum(list(bands.values()), axis=0)
        missing = -COMPING_DB - under_db(own, whole, 2, len(OCTAVES))
        if role_of(role).name in CHORDAL and missing > 0:
            found[role] = min(MOST_TRIM_DB, round(2 * missing) / 2)
            bands[role] = own * 10 ** (found[role] / 10)
    carriers = [role for role in mixes.thirds_by(taken.performance) if role in bands]
    if carriers:
        whole = np.sum(list(bands.values()), axis=0)
        own = np.sum([bands[role] for role in carriers], axis=0)
        missing = -UNDER_DB - under_db(own, whole, _THIRDS_FROM, _THIRDS_TO)
        for role in carriers if missing > 0 else ():
            found[role] = min(MOST_TRIM_DB, found.get(role, 0.0) + round(2 * missing + 0.5) / 2)
    return {role: trim for role, trim in found.items() if trim}


def balance(line: Line, taken: Take) -> None:
    """Stems under the mix, thirds against the rest, bass against kick."""
    bands = powers(taken)
    whole = np.sum(list(bands.values()), axis=0)
    full = mixes.lufs(taken.mix)
    for role, stem in taken.stems.items():
        line.add(f"{role} {mixes.lufs(stem) - full:.0f}")
    carriers = [role for role in mixes.thirds_by(taken.performance) if role in bands]
    if carriers:
        own = np.sum([bands[role] for role in carriers], axis=0)
        above = under_db(own, whole, _THIRDS_FROM, _THIRDS_TO)
        line.add(f"thirds {above:+.0f} dB", above >= -UNDER_DB - 0.5)
    if {"bass", "drums"} <= set(bands):
        lows = [mixes.db(float(bands[role][:2].sum())) for role in ("bass", "drums")]
        line.add(f"bass-kick {lows[0] - lows[1]:+.0f} dB")


def width(line: Line, taken: Take) -> None:
    leans, lost, sides = mixes.space(taken)
    line.add(f"lean {leans:.1f}", leans <= MOST_LEAN_DB)
    line.add(f"mono -{lost:.2f}", lost <= MOST_LOST_DB)
    line.add(f"sides {sides:.0f}", sides <= SIDES_DB)


def touch(line: Line, style: str) -> None:
    """What the limiter takes at f, and how much brighter f is than p."""
    loud, soft = (mixes.take(mixes.played(style, mixes.SHORT, dynamics)) for dynamics in "fp")
    most, mean = mixes.limited(loud.level)
    line.add(f"limiter {most:.1f}/{mean:.2f}", most <= MOST_TAKEN_DB and mean <= MEAN_TAKEN_DB)
    line.add(f"f brighter {mixes.brightness(loud.mix) - mixes.brightness(soft.mix):+.2f} oct")


def arc(line: Line, style: str) -> None:
    taken = mixes.take(mixes.played(style, mixes.SONG, "", choruses=4))
    spans = mixes.choruses(taken)
    first = spans[0] - mixes.lufs(taken.mix)
    line.add(f"span {max(spans) - min(spans):.1f} LU", max(spans) - min(spans) <= SPAN_LU)
    line.add(f"first {first:+.1f} LU", abs(first) <= FIRST_LU)


def heard(line: Line, style: str, taken: Take) -> None:
    ears = mixes.listened(taken.mix, taken.borders, taken.performance)
    line.add(f"{ears.thirds:.2f}", ears.thirds >= LEAST_THIRDS or style in NO_THIRDS)
    line.add(f"named {ears.named:.2f}")
    if style in SEVENTH_STYLES:
        other = mixes.take(mixes.played(style, SEVENTHS))
        sevenths = mixes.listened(other.mix, other.borders, other.performance).sevenths
        line.add(f"sevenths {sevenths:.2f}", sevenths >= LEAST_SEVENTHS)


def style_file(style: str) -> Path:
    """The file that holds a style of the package."""
    for folder in folders():
        for path in sorted(folder.glob("*.toml")):
            if re.search(rf'^name\s*=\s*"{re.escape(style)}"', path.read_text("utf-8"), re.M):
                return path
    raise SystemExit(f"no file holds the style {style}")


def write(style: str, by_role: Mapping[str, float]) -> None:
    """Add decibels to the levels that a style's file has."""
    path = style_file(style)
    text = path.read_text("utf-8")
    for role, trim in by_role.items():
        name = f'"{role}"' if " " in role else role
        header = re.search(rf"^\[{re.escape(name)}\]\n", text, re.M)
        if header is None:
            print(f"{style}: {role} has no table of its own; {trim:+g} dB is left to do")
            continue
        rest = text.find("\n[", header.end())
        own = text[header.end() : rest]
        level = re.search(r"^(level_db\s*=\s*)(-?[\d.]+)", own, re.M)
        if level:
            own = f"{own[: level.start()]}{level[1]}{float(level[2]) + trim:g}{own[level.end() :]}"
        else:
            own = f"{own.rstrip()}\nlevel_db   = {trim:g}\n"
        text = text[: header.end()] + own + text[rest:]
    path.write_text(text, "utf-8")


def main(asked: list[str]) -> int:
    writes = "--write" in asked
    over = 0
    for style in [name for name in asked if name != "--write"] or names():
        line = Line(style)
        taken = mixes.take(mixes.played(style, TRIADS))
        heard(line, style, taken)
        balance(line, taken)
        width(line, taken)
        touch(line, style)
        arc(line, style)
        wanted = trims(taken)
        print(line, *(f"[{role} {trim:+g} dB]" for role, trim in wanted.items()), flush=True)
        over += line.over
        if writes:
            write(style, wanted)
    print(f"{over} figures out of bounds")
    return over


if __name__ == "__main__":
    raise SystemExit(min(main(sys.argv[1:]), 1))
