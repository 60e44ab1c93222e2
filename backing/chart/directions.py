"""Words over the music that the band obeys.

*Conventions*: a direction is recognised whatever its capitals, dots and blanks (`DS al Coda`, `rit.`); anything else in
quotes is free text. *Sources*: the Italian terms as every theory primer lists them.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import cache
from typing import NamedTuple

from backing.chart.ast import Direction
from backing.chart.codes import Faults, near, quoted
from backing.chart.values import FASTEST, SLOWEST
from backing.ground.instruments import ROLES

JUMPS = ("D.C.", "D.C. al Fine", "D.C. al Coda", "D.S.", "D.S. al Fine", "D.S. al Coda")
MARKS = ("Segno", "Coda", "To Coda", "Fine")
ORDER = (*MARKS, *JUMPS)  # those that direct the order of play
PLAIN = (
    *ORDER, "fermata", "break", "fill", "rit.", "accel.", "a tempo", "rubato",
    "in 2", "in 4", "half time", "double time", "beat = beat",
)  # fmt: skip
BEAT = "beat = beat"
# over which bar a mark stands
MARK_WHERE = {
    "Segno": "to which the band goes back", "Coda": "after those that are left out, or name its section [Coda]",
    "To Coda": "after which the band leaves for the Coda", "Fine": "with which the tune ends",
}  # fmt: skip

_SIGNS = {"𝄋": "Segno", "𝄌": "Coda", "𝄐": "fermata"}
# what players also write -> its plain form
_SAME = {
    "al segno": "D.S.", "dal segno": "D.S.", "da capo": "D.C.", "da capo al fine": "D.C. al Fine",
    "da capo al coda": "D.C. al Coda", "dal segno al fine": "D.S. al Fine",
    "dal segno al coda": "D.S. al Coda", "ritard": "rit.", "ritardando": "rit.",
    "accelerando": "accel.", "in two": "in 2", "in four": "in 4", "half-time": "half time",
    "double-time": "double time", "beat=beat": BEAT, "tocoda": "To Coda",
}  # fmt: skip


def _folded(text: str) -> str:
    return " ".join(text.replace(".", " ").casefold().split())


def _key(name: str) -> str:
    return _folded(name).replace("d c", "dc").replace("d s", "ds")


_BY_KEY = {_key(name): name for name in PLAIN} | {_key(k): v for k, v in _SAME.items()}
_TO = r"(rit|accel|ritard|ritardando|accelerando)\.?\s+to\s+(\S.{0,20})"


def recognise(text: str, start: int, end: int, faults: Faults) -> Direction | None:
    """The direction that a text in quotes is, or None for free text; says so when it nearly is one."""
    if len(text) > 40:
        return None
    for sign, word in _SIGNS.items():
        if sign in text:
            text = text.replace(sign, f" {word} ")
    key = _key(text)
    name = _BY_KEY.get(key)
    if name:
        return Direction(name)
    moved = re.fullmatch(_TO, text.strip(), re.I)
    if moved:
        figure = moved[2].strip()
        name = "rit." if moved[1][0] in "rR" else "accel."
        example = f"{name} to {96 if name == 'rit.' else 140}"
        if not re.fullmatch(r"[0-9]{1,4}(?:\.[0-9]{1,3})?", figure):
            faults.add("E337", start, end, found=quoted(text), example=example)
            return Direction(name)
        value = Fraction(figure)
        if not SLOWEST <= value <= FASTEST:
            faults.add("E337", start, end, found=quoted(text), example=example)
        return Direction(name, value)
    words = key.split()
    if words and words[0] == "tacet":
        role = " ".join(words[1:])
        if role not in ROLES:
            example = near(role, ROLES) or "guitar"
            faults.add("E336", start, end, found=quoted(text), example=example)
            return Direction("tacet")
        return Direction("tacet", role=role)
    _nearly(text, key, start, end, faults)
    return None


_OFTEN_LONGER = (*ORDER, "half time", "double time")


def _not_obeyed(key: str) -> str | None:
    """What to type for words that steer a band elsewhere, and are only printed here."""
    if key in ("nc", "n c", "no chord"):
        return "for no chord type  N.C.  without quotes"
    ending = re.fullmatch(r"([1-9])(?:st|nd|rd|th)?(?: ending| time)?", key)
    if ending:
        return f"an ending stands behind its bar line:  |{ending[1]}."
    if not any(c.isdigit() for c in key):
        return None
    from backing.chart.habits import times

    many = times(key)
    if many:
        return f"a repeat is counted behind its sign:  :| x{many}"
    return None


def _nearly(text: str, key: str, start: int, end: int, faults: Faults) -> None:
    """Warn of words that are one slip away from a direction."""
    from difflib import SequenceMatcher

    best, name = 0.0, ""
    for other, plain in _BY_KEY.items():
        if abs(len(other) - len(key)) <= 2 and other[:1] == key[:1] and len(key) >= 4:
            alike = SequenceMatcher(None, key, other).ratio()
            if alike > best:
                best, name = alike, plain
    hint = _not_obeyed(key)
    if hint:
        faults.add("W306", start, end, found=quoted(text), hint=hint)
        return
    if best < 0.8:
        longer = [n for k, n in _BY_KEY.items() if n in _OFTEN_LONGER and key.startswith(f"{k} ")]
        name = max(longer, key=len, default="")
        rest = re.sub(r"^(?:poco|molto|poco a poco|a little|slight|big) ", "", key)
        if not name and rest != key:
            moved = re.fullmatch(_TO, rest, re.I)
            name = _BY_KEY.get(rest, "")
            if moved:
                name = f"{'rit.' if moved[1][0] == 'r' else 'accel.'} to {moved[2]}"
        if not name and re.search(r"\bal coda\b", key):
            name = "To Coda"
        best = float(bool(name))
    if best >= 0.8:
        faults.add("W303", start, end, found=quoted(text), name=name)


FIRST_WORDS = frozenset(
    {"d.c.", "dc", "d.c", "dc.", "d.s.", "ds", "d.s", "ds.", "segno", "coda", "to", "fine", "fermata",
     "break", "fill", "rubato", "rit", "rit.", "a"}
)  # fmt: skip


@cache
def _named() -> re.Pattern[str]:
    """A direction by name, the longest that fits."""
    names = (*ORDER, "fermata", "break", "fill", "rubato", "rit.", "a tempo")
    words = [re.escape(name) for name in sorted(names, key=len)[::-1]]
    loose = [word.replace(r"\.", r"\.?").replace(r"\ ", r"\s+") for word in words]
    return re.compile(rf"(?:{'|'.join(loose)})(?![^\s|])", re.I)


def bare(text: str, start: int, end: int) -> re.Match[str] | None:
    """A direction typed without its quotes at `start`."""
    return _named().match(text, start, end)


def plain_name(text: str) -> str:
    """The plain form of a direction that was matched by `bare`."""
    return _BY_KEY.get(_key(text), text)


class Seen(NamedTuple):
    """A direction and where it stands in the text."""

    name: str
    start: int
    end: int


def check(seen: list[Seen], form: bool, faults: Faults, coda_section: int = -1) -> None:
    """Whether the directions for the order of play belong together and come to an end.

    `coda_section` is where a section named Coda begins, which serves as one without the word in it; -1 for none.
    """
    first: dict[str, Seen] = {}
    jump: Seen | None = None
    order = [s for s in seen if s.name in ORDER]
    for one in order:
        if form:
            faults.add("E333", one.start, one.end, name=one.name)
            continue
        if one.name in JUMPS:
            if jump:
                line = faults.line(jump.start)
                faults.add("E338", one.start, one.end, name=one.name, line=line)
            jump = jump or one
        elif one.name in first:
            line = faults.line(first[one.name].start)
            faults.add("E332", one.start, one.end, name=one.name, line=line)
        first.setdefault(one.name, one)
    if form:
        return
    if coda_section >= 0:
        first.setdefault("Coda", Seen("", coda_section, coda_section))
    for one in order:
        if one is jump or one.name in JUMPS:
            _check_jump(one, first, faults)
    to_coda, coda, segno = first.get("To Coda"), first.get("Coda"), first.get("Segno")
    if to_coda and not coda:
        _missing(to_coda, "Coda", faults)
    if to_coda and coda and coda.start < to_coda.start:
        faults.add("E335", to_coda.start, to_coda.end)
    if segno and not any(n.startswith("D.S.") for n in first):
        faults.add(
            "W304",
            segno.start,
            segno.end,
            name="Segno",
            hint='write "D.S." where the band goes back to it',
        )
    if coda and coda.name and not to_coda and not any(n.endswith("al Coda") for n in first):
        faults.add(
            "W304",
            coda.start,
            coda.end,
            name="Coda",
            hint='write "To Coda" where the band leaves for it',
        )
    fine = first.get("Fine")
    if fine and not any(n.endswith("al Fine") for n in first):
        faults.add(
            "W304",
            fine.start,
            fine.end,
            name="Fine",
            hint='write "D.C. al Fine" where the band goes back',
        )


def _check_jump(jump: Seen, first: dict[str, Seen], faults: Faults) -> None:
    if jump.name.startswith("D.S."):
        segno = first.get("Segno")
        if not segno:
            _missing(jump, "Segno", faults)
        elif segno.start > jump.start:
            faults.add("E334", jump.start, jump.end, name=jump.name)
    if jump.name.endswith("al Fine") and "Fine" not in first:
        _missing(jump, "Fine", faults)
    if jump.name.endswith("al Coda"):
        if "Coda" not in first and "To Coda" not in first:
            _missing(jump, "Coda", faults)
        if "To Coda" not in first:
            _missing(jump, "To Coda", faults)


def _missing(one: Seen, mark: str, faults: Faults) -> None:
    where = MARK_WHERE[mark]
    faults.add("E331", one.start, one.end, name=one.name, mark=mark, where=where)
