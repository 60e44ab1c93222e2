"""Charts made up by rule for tests: cycles through all keys, and tunes of every meter, density and style."""

from __future__ import annotations

from collections.abc import Iterator

from backing.ground.dice import Place

KEYS = ("C", "F", "Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G")
UP = {  # key: its second and fifth degrees
    "C": ("D", "G"), "F": ("G", "C"), "Bb": ("C", "F"), "Eb": ("F", "Bb"), "Ab": ("Bb", "Eb"), "Db": ("Eb", "Ab"),
    "Gb": ("Ab", "Db"), "B": ("C#", "F#"), "E": ("F#", "B"), "A": ("B", "E"), "D": ("E", "A"), "G": ("A", "D"),
}  # fmt: skip
METERS = ("4/4", "4/4", "4/4", "3/4", "6/8", "5/4", "7/8", "12/8", "2/4", "9/8")
# What may follow what is left to chance; these are kinds of chord that a working band is given.
QUALITIES = (
    "", "m", "7", "maj7", "m7", "6", "m6", "9", "m9", "maj9", "13", "7b9", "7#9", "7alt", "7#5", "m7b5", "dim7", "sus4",
    "7sus4", "9sus4", "maj7#11", "6/9", "add9", "m11", "13#11", "mMaj7", "aug", "13b9", "7#11",
)  # fmt: skip


def ii_v_i(minor: bool = False, kind: str = "m7 7 maj7") -> str:
    """ii-V-I through twelve keys by fourths, a bar each and two for the tonic; in minor with their own chords."""
    two, five, one = ("m7b5", "7b9", "m6") if minor else kind.split()
    cells = []
    for key in KEYS:
        second, fifth = UP[key]
        cells += [f"{second}{two}", f"{fifth}{five}", f"{key}{one}", "%"]
    return " | ".join(cells)


def progression(place: Place, chords: int) -> list[str]:
    """Chords that go mostly by fourth, as tunes do, with some that do not, and some over another bass."""
    roots = list(KEYS)
    at = int(place.roll("home") * 12)
    found = []
    for i in range(chords):
        here = place.at(i)
        step = here.pick((1, 3, 10, 7, 5, 11), (6, 2, 1, 1, 1, 1), "step")
        at = (at + step) % 12
        quality = here.pick(QUALITIES, [1.0] * len(QUALITIES), "quality")
        bass = f"/{UP[roots[at]][1]}" if here.chance(0.12, "slash") and "alt" not in quality else ""
        found.append(roots[at] + quality + bass)
    return found


def tunes(styles: tuple[str, ...], count: int = 200) -> Iterator[tuple[str, str]]:
    """Charts with a style each: two sections, one to four chords a bar, pushes, stops and places without a chord."""
    for number in range(count):
        place = Place(("generated", number))
        meter = place.pick(METERS, [1.0] * len(METERS), "meter")
        beats = {"4/4": 4, "3/4": 3, "6/8": 2, "5/4": 5, "7/8": 3, "12/8": 4, "2/4": 2, "9/8": 3}[
            meter
        ]
        dense = place.chance(0.25, "dense")
        sections = []
        for name in ("A", "B"):
            bars = []
            for i in range(8 if name == "A" else 4):
                here = place.at(name, i)
                most = beats if dense else 2 if beats % 2 == 0 else 1
                n = most if dense else 1 + int(here.chance(0.3, "two") and most == 2)
                chords = progression(here, n)
                if here.chance(0.08, "push"):
                    chords[0] = "<" + chords[0]
                if n == 1 and i < 7 and here.chance(0.04, "stop"):
                    chords[0] += "!"
                if n == 1 and i and here.chance(0.04, "none"):
                    chords = ["N.C."]
                bars.append(" ".join(chords))
            sections.append(f"[{name}]\n| " + " | ".join(bars) + " |\n")
        tempo = 70 + int(place.roll("tempo") * 130)
        count_in = "\ncount-in: off" if place.chance(0.1, "count") else ""
        head = (
            f"meter: {meter}\ntempo: {tempo}\nkey: {KEYS[number % 12]}\nform: A A B A{count_in}\n"
        )
        yield head + "".join(sections), styles[number % len(styles)]
