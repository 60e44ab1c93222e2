"""Where on the neck a collection prints a shape for a kind of chord.

*Conventions*: shapes run from the lowest string to the highest, x for a string that is not played. A movable shape is
written at the first fret, with the string of its root (counted from the lowest, 0; -1 for none) and the frets between which
it is printed; the first of a row is printed for most roots. *Source*: chords-db 0.5.1 (copyright 2016 David Rubert, MIT
licence, whose text stands in `tests/data/guitar-shapes.tsv`): its shapes for 24 kinds of chords, but for those that want
more than four fingers and those with open strings beside frets above the fifth.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

# quality ("." is a triad), then shape@string:first-last
MOVABLE = """
.      133211@0:1-10 113331@1:2-9 143121@1:2-8 x11343@2:3-9 xx1114@3:4-8 43111x@0:1-3 x13331@1:1-6 x43121@1:1-3
.      xx1343@2:1-2 431114@0:6-6
m      133111@0:1-11 113321@1:2-11 xx1342@2:1-9 xx3231@4:2-10 4211xx@0:5-10 4211x4@0:6-6 x11342@2:4-4 x13321@1:1-1
m      x3221x@3:6-6 x4212x@1:1-1 xx3111@2:6-6
dim    x1232x@1:1-11 x31x12@1:1-11 xx12x2@2:1-11 31x32x@0:1-11
dim7   xx1212@2:1-11 2x121x@0:1-12 123131@0:2-10 x23131@1:1-5 123131@1:7-10 xx1212@3:2-7 xx1212@4:1-2 2x1212@0:3-3
dim7   x2313x@1:6-6
sus2   111341@2:1-11 113311@1:1-11 133x13@0:1-12 41134x@0:3-11 2xx122@0:1-6 x41124@1:7-11 x11144@3:7-7 xx1124@4:2-2
sus4   133311@0:1-11 113341@1:2-11 x11344@2:4-9 xx1124@3:1-11 xx112x@3:8-10 xx1344@2:1-3 4x1124@0:6-6 x13341@1:1-1
sus4   x4412x@1:1-1
7sus4  131311@0:1-11 113141@1:2-11 x33311@1:1-10 xx1122@3:1-10 xx1324@2:1-8 133311@1:6-6 x13141@1:1-1 x3331x@1:3-3
7sus4  xxx122@3:6-6
+      43211x@0:1-11 x3211x@1:1-10 1x322x@0:3-11 xx211x@2:3-7 xx3221@2:1-8 x1433x@1:1-7 1x3221@0:5-9 x1x332@1:8-8
+      xx3221@3:3-3 xx3221@4:3-3
6      x13333@1:1-10 x3221x@1:2-10 2x132x@0:1-10 1x3231@0:1-9 x11313@2:3-6 13x231@0:5-6 xx1313@2:1-9 113333@1:8-8
6      131141@3:7-7 1x323x@0:7-7 433111@0:6-6 x31111@3:1-1
6/9    x21122@1:1-12 211122@0:1-10 x22122@2:4-11 xx2122@2:2-10 x11121@4:3-6 x11111@3:1-9 x41321@1:1-11
7      131211@0:1-11 113131@1:2-11 xx1112@3:1-10 x11323@2:3-8 x3231x@1:2-11 x13131@1:1-6 431112@0:6-6 xx1323@2:1-1
9      131213@0:1-11 221222@1:2-10 xx2132@2:2-10 21212x@0:2-9 x21222@1:1-12 2121xx@0:8-10 x11112@3:10-11 212122@0:7-7
9      3x1321@2:2-2 411312@0:4-4
7b9    x21212@1:1-12 3231xx@0:4-12 xx2131@2:2-9 1x1212@0:3-8 131212@0:1-5 xx1212@-1:4-9
7#9    x2123x@1:1-12 xx2133@2:2-9 131214@0:1-10 131244@0:3-7 x21112@3:7-10 212222@0:1-3 2122xx@0:10-10 x12222@5:8-8
7#9    x22133@2:4-4
13     111133@1:2-9 111233@0:1-11 x21244@1:1-12 131231@0:1-8 413112@0:1-4 1x1233@0:3-3 1x123x@0:10-10
maj7   113231@1:2-11 132211@0:1-7 x11333@2:1-9 x43111@1:1-6 xx1113@3:3-8 x13231@1:1-10 xx1333@2:2-10 1x221x@0:9-9
maj7   x3241x@1:9-9 xxx113@3:6-6
maj9   x2132x@1:3-9 213121@0:1-8 1x2213@0:2-10 x41111@1:1-3 xx1313@-1:4-10 xx2142@2:3-10 xx2213@-1:1-11 21312x@0:5-6
maj9   x11113@3:1-8 311331@2:2-2 411113@0:3-3
m6     x31213@1:1-9 133131@0:3-11 2x1222@0:1-9 x11312@2:1-7 xx2212@3:3-9 2x122x@0:3-8 x13x23@1:1-5 x2314x@3:3-3
m6     x2413x@1:8-8 xx1312@2:3-3
m7     131111@0:1-11 113121@1:2-11 xx2213@3:2-10 x11322@2:5-9 xx1322@2:1-11 x13121@1:1-4 x31313@1:8-8 x3131x@1:9-9
m7     x3134x@1:1-1
m7b5   x1212x@1:1-11 xx1222@2:1-11 2x221x@0:2-11 xx1213@3:2-10 123141@0:5-8 3xx321@0:1-1 x31312@1:3-3
m9     131113@0:1-11 x31333@1:1-10 x13233@5:6-9 xx2413@-1:2-10 31x231@0:4-4 x3133x@1:11-11
m11    111113@0:1-11 313211@0:2-11 x31331@1:1-11 xx1122@2:1-11 3x331x@0:1-1 x11121@1:3-3 x31311@1:2-2
mMaj7  132111@0:1-11 113221@1:2-9 x11332@2:4-11 x4211x@1:1-10 x13221@1:1-11 xx1332@2:1-10 x21143@3:1-1 xx4221@2:12-12
add9   x43141@1:1-11 xx3213@2:1-12 x21x22@1:1-11 21x12x@0:3-10 21x122@0:1-6 xx21x2@2:7-7
"""
# quality, then root:shape
OPEN = """
.      C:x32010 D:xx0232 E:022100 G:320003 A:x02220 A:x02225
m      C:x31013 D:xx0231 E:022000 E:022453 G:310033 A:x02210 A:x02555
dim    D:xx01x1 F#:20x21x A:x0121x B:x20x01
dim7   D:xx0101 E:012020 F:1x0101 G:31x320 G:3x2320 Ab:xx0101 A:x01212 Bb:x12020
sus2   C:x30013 C:x30033 D:xx0230 G:300033 A:x02200 A:x02400
sus4   C:x33011 D:x50035 D:xx0233 E:022200 E:022455 G:330013 A:x00x30 A:x02230
7sus4  D:xx0213 E:020200 G:330011 A:x02030 B:x22200
+      D:xx0332 E:032110 G:32100x A:x03221 B:x2100x
6      C:x32210 D:xx0202 E:022120 E:022424 G:320000 A:x02222 B:x2110x
6/9    C:x30055 D:x54200 Eb:xx1011 E:022122 F:100011 G:300000 A:x04422 Bb:x10011
7      C:x32310 D:xx0212 E:020100 G:320001 A:x02020 A:x02223 B:x21202
9      C:032030 Eb:xx1021 E:020102 G:300001 A:542000 A:x02423 Bb:x10111
7b9    D:xx0542 Eb:xx1020 E:020101 F#:212020 G:320131 Ab:x01112 A:x02323 Bb:x10101
7#9    C:x35340 C#:x43420 Eb:xx1022 E:020103 E:050034 G:320301 Bb:x1012x
13     C#:x43302 D:xx0412 E:000122 E:020120 F#:221300 G:302001 A:544030 A:x02022 Bb:x10133
maj7   C:332000 D:xx0222 E:021100 F:xx3210 G:320002 A:x02120 A:x02224
maj9   C:x30000 E:021102 F:102010 G:300002 A:x02424 Bb:11021x
m6     D:xx0201 E:022020 E:022423 F:1x0111 A:x02212 B:220102
m7     D:xx0211 E:020000 E:022030 E:022433 A:x02010 A:x02213
m7b5   D:xx0111 E:012333 F:1x110x F#:202210 Ab:xx0102 A:x0101x
m9     C:x30343 D:100210 E:020002 E:022032 F:x33044 F#:202120 G:300331 Ab:411102 A:x02413 B:x20222
m11    D:xx0011 E:000002 E:005430 F#:202100 A:x00010 B:x20220
mMaj7  C:x3100x D:xx0221 E:021000 E:022443 G:310032 A:x02110 B:x20302
add9   C:x30030 C:x32030 E:022102 G:300203 A:x02420 Bb:x10311
"""
_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")

Frets = tuple[int, ...]


class Form(NamedTuple):
    """A shape of a kind of chord. `order` counts from 0, the one printed most often; `first` and `last` are frets.

    `root` is the string of a movable shape's root, the pitch class of an open one's.
    """

    order: int
    root: int
    first: int
    last: int


def order_of(quality: str, root: int, frets: Frets, root_string: int) -> int | None:
    """The place of a shape among those that are printed for a chord, None where it is not one of them.

    Open shapes come first. `root` is the pitch class that the chord would have in the usual tuning.

    >>> order_of("", 0, (-1, 3, 2, 0, 1, 0), 1), order_of("m7", 7, (3, 5, 3, 3, 3, 3), 0)
    (0, 1)
    """
    if 0 in frets:
        return 0 if (quality, root, frets) in _open() else None
    held = [f for f in frets if f > 0]
    up = min(held, default=1) - 1
    shape = tuple([f if f < 0 else f - up for f in frets])
    for form in _movable().get((quality, shape), ()):
        if form.root == root_string and form.first <= up + 1 <= form.last:
            return form.order
    return None


def shapes() -> tuple[frozenset[Frets], frozenset[Frets]]:
    """All movable shapes, and all open ones."""
    return frozenset(shape for _, shape in _movable()), frozenset(frets for _, _, frets in _open())


def read(word: str) -> Frets:
    """`x32010`."""
    return tuple(-1 if mark == "x" else int(mark) for mark in word)


@lru_cache(maxsize=1)
def _movable() -> dict[tuple[str, Frets], list[Form]]:
    found: dict[tuple[str, Frets], list[Form]] = {}
    orders: dict[str, int] = {}
    for line in MOVABLE.strip().splitlines():
        quality, *words = line.split()
        quality = quality.removeprefix(".")
        for word in words:
            shape, _, place = word.partition("@")
            root, _, window = place.partition(":")
            first, last = window.split("-")
            orders[quality] = orders.get(quality, 0) + 1
            form = Form(orders[quality], int(root), int(first), int(last))
            found.setdefault((quality, read(shape)), []).append(form)
    return found


@lru_cache(maxsize=1)
def _open() -> frozenset[tuple[str, int, Frets]]:
    found = set()
    for line in OPEN.strip().splitlines():
        quality, *words = line.split()
        for word in words:
            root, _, shape = word.partition(":")
            found.add((quality.removeprefix("."), _NAMES.index(root), read(shape)))
    return frozenset(found)
