"""Shapes that every strumming guitarist knows: open chords, and movable ones with the root on one of three strings; and
shapes that are printed beside them.

A hand that strums takes the shape it has practised; a grip found string by string may be holdable and still be one
that nobody plays.

*Conventions*: frets from the lowest string to the highest, counted above the capo, x for a string that is not played;
movable shapes are written at the first fret. *Sources*: open and movable chords as beginners' and rhythm guitar books
print them (common practice); most stand in the printed collection in `tests/data/guitar-shapes.tsv`. Printed ones: those
of that collection, in `printed`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from enum import IntEnum

from backing.harmony import printed

OPEN = """
x32010 332010 032010 x32013 x32310 x32000 x32030 x32033 x32210 x30000 x30013 x30033 x33013 x33011 x22010 x32330
xx0232 xx0231 xx0212 xx0222 xx0211 xx0233 xx0230 xx0202 xx0201 xx0213 xx0101 xx0111 xx0332 xx0122 x00232 x00231 200232
2x0232 x54230 000232 xx0432
022100 022000 020100 022130 020000 022030 022033 021100 021000 022020 022120 002200 022200 020200 020202 020002 020102
020101 020122 024100 024000 022102 022002 032110 020130 000202
133210 xx3210 x33210 103210 xx3213 xx3011 xx3013 xx3010 x03211 x03210 032011
320003 320033 320001 320002 320000 330013 3x0013 330011 3x0011 3x0203 320203 3x0201 320201 300033 x20003 x20033 x20001
3x0003 3x0033 320030 300003
x02220 x02210 x02020 x02223 x02010 x02213 x02120 x02110 x02230 x02200 x02222 x02212 x02030 x02420 x02410 x02022 x02424
x02423 x01212 x0101x x03221 x42220 002220 002210 302210 3x2210 x04220 402220 002010 x00230
x21202 x20202 x20232 x22202 x20102 x20101 x2010x x21102 x24430
"""
MOVABLE = """
133211 133111 131211 131111 132211 133311 131311 132111 131213 131113 131212 1x121x 1x111x 1x1111 1x221x 1x1211 1x123x
1x1233 1x1224 1x1222 1x1333 1x122x 1x1221 1x131x 2x221x 2x121x 2x132x 2x122x 2x231x 2x1122 13121x 431114 431111 4311xx
x13331 x13321 x13131 x13121 x13231 x13341 x13141 x13311 x13221 x2122x x21212 x2121x x21213 x2123x x2124x
x3133x x3243x x21122 x2112x x2132x x13133 x11111 x1111x x11113 x1212x x2313x x23131 x1313x
x31213 x13113 x1323x
xx1343 xx1342 xx1323 xx1322 xx1333 xx1344 xx1324 xx1341 xx1313 xx1312 xx1212 xx1222 xx1233 xx1443 xx3211 xx3111 xx1332
xx1223 xx2123 xx2134
"""

# Of those above, what a teacher shows first: one or two forms a kind of chord.
FIRST_OPEN = """
x32010 x32310 x32000 x32030 xx0232 xx0231 xx0212 xx0222 xx0211 xx0233 xx0230 022100 022000 020100 020000 022200 020200
021100 xx3210 320003 320001 320002 x02220 x02210 x02020 x02120 x02010 x02230 x02200 x02030 x02212 x21202
"""
FIRST_MOVABLE = """
133211 133111 131211 131111 133311 131311 x13331 x13321 x13131 x13231 x13121 x13341 x21222 x21122 x2123x x21212 x1212x
2x221x 1x1233 x3133x x2132x x2x132 133xxx x133xx x3211x x1232x x2313x 2x122x 1x221x 1x1333
"""

_OPEN = frozenset(map(printed.read, OPEN.split()))
_MOVABLE = frozenset(map(printed.read, MOVABLE.split()))
_FIRST_OPEN = frozenset(map(printed.read, FIRST_OPEN.split()))
_FIRST_MOVABLE = frozenset(map(printed.read, FIRST_MOVABLE.split()))
_PRINTED_MOVABLE, _PRINTED_OPEN = printed.shapes()


class Fame(IntEnum):
    """How well a shape is known, best first."""

    FIRST = 0
    KNOWN = 1
    PRINTED = 2
    FOUND = 3


def known(frets: Sequence[int]) -> bool:
    """Whether a shape is one of the tables, a movable one wherever it stands, with or without its highest string.

    >>> known((3, 2, 0, 0, 0, 3)), known((3, 5, 5, 4, 3, 3)), known((1, 0, 0, 0, 4, 3))
    (True, True, False)
    """
    shape = tuple(frets)
    if shape in _OPEN:
        return True
    if 0 in shape:
        return False
    at_first = _at_first(shape)
    if at_first in _MOVABLE:
        return True
    return at_first[5] < 0 and any((*at_first[:5], top) in _MOVABLE for top in range(1, 5))


def fame(frets: Sequence[int]) -> Fame:
    """Whether a shape is one of the first that are taught, known, printed, or none of these.

    >>> [fame(f).name for f in [(3, 2, 0, 0, 0, 3), (3, 2, 0, 0, 3, 3), (-1, 3, 5, 5, 5, 5), (1, 0, 0, 0, 4, 3)]]
    ['FIRST', 'KNOWN', 'PRINTED', 'FOUND']
    """
    shape = tuple(frets)
    if shape in _FIRST_OPEN or (0 not in shape and _at_first(shape) in _FIRST_MOVABLE):
        return Fame.FIRST
    if known(frets):
        return Fame.KNOWN
    in_print = shape in _PRINTED_OPEN or (0 not in shape and _at_first(shape) in _PRINTED_MOVABLE)
    return Fame.PRINTED if in_print else Fame.FOUND


def placed(highest: int) -> Iterator[tuple[int, ...]]:
    """Every shape of the tables, movable ones at every place up to a highest fret."""
    yield from sorted(_FIRST_OPEN | _OPEN | _PRINTED_OPEN)
    for shape in sorted(_FIRST_MOVABLE | _MOVABLE | _PRINTED_MOVABLE):
        for up in range(highest - max(shape) + 1):
            yield tuple([f if f < 0 else f + up for f in shape])


def _at_first(shape: tuple[int, ...]) -> tuple[int, ...]:
    """A shape without open strings moved to the first fret."""
    up = min((f for f in shape if f > 0), default=1) - 1
    return tuple([f if f < 0 else f - up for f in shape])
