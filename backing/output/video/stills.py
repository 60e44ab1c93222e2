"""Still pictures as the encoder takes them: set by typst, turned to its colours once each, kept on disk.

Conventions: a picture is one row of bytes in the layout yuv420p (ITU-R BT.709, studio range): brightness of every pixel,
then two planes of colour of half the width and height. Every still has two pictures: nothing lit, and all of it lit; what
a frame shows is put together of both.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backing.ground.languages import ENGLISH
from backing.output.sheet.compiled import compiled
from backing.output.sheet.faces import families
from backing.output.sheet.marks import Text
from backing.output.sheet.write import TEMPLATE, plain
from backing.output.sound.encoder import Encoder
from backing.output.video.scenes import Still
from backing.output.video.screens import Colours, Screen

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Pictures = NDArray[np.uint8]

AT_ONCE = 12  # stills a run of typst, which holds them all in memory
NOW = 2  # of the tints of the template
_TINT = 6  # where a text has its tint
_PPI = 72.0  # at which a point is a pixel
# Exact arithmetic, so that every machine gets the same pixels.
_CONVERTED = "scale=out_color_matrix=bt709:out_range=tv:flags=bitexact+accurate_rnd+full_chroma_int,format=yuv420p"


def pictures(
    stills: Sequence[Still],
    screen: Screen,
    colours: Colours,
    folder: Path,
    tell: Callable[[float], None] = lambda share: None,
) -> Pictures:
    """Two pictures a still, an array of shape (2 × stills, bytes a picture) that lies in a file in `folder`.

    Raises OSError, `OutputError`, `AudioUnavailable`.
    """
    import numpy as np

    wide, high = screen.pixels
    raw = folder / "stills.yuv"
    arguments = ["-f", "image2pipe", "-c:v", "png", "-i", "pipe:0", "-fps_mode", "passthrough"]
    encoder = Encoder(raw, [*arguments, "-vf", _CONVERTED, "-f", "rawvideo"])
    try:
        for at in range(0, len(stills), AT_ONCE):
            tell(at / len(stills))
            for page in _set(stills[at : at + AT_ONCE], screen, colours):
                encoder.write(memoryview(page))
    except BaseException:
        encoder.abandon()
        raise
    encoder.close()
    return np.memmap(raw, np.uint8, "r", shape=(2 * len(stills), wide * high * 3 // 2))


def _set(stills: Sequence[Still], screen: Screen, colours: Colours) -> list[bytes]:
    """The pictures as PNG, in order."""
    pages = [page for still in stills for page in (_page(still, lit=False), _page(still, lit=True))]
    marks = [m for still in stills for m in (*still.marks, *still.bright)]
    letters = {c for mark in marks if isinstance(mark, Text) for c in mark.text}
    data = {
        "title": "", "author": "", "keywords": [], "width": screen.wide, "height": screen.high, "links": [], "bookmarks": [],
        "families": families("".join(sorted(letters))), "languages": [ENGLISH] * len(pages), "pages": pages,
        "colours": colours._asdict(),
    }  # fmt: skip
    return compiled(TEMPLATE, data, "png", _PPI * screen.scale)


def _page(still: Still, *, lit: bool) -> list[list[Any]]:
    """A picture as the template draws it."""
    boxes = [
        ["b", *(round(v, 2) for v in (b.x0, b.y0, b.x1 - b.x0, b.y1 - b.y0))] for b in still.lit
    ]
    bright = [plain(mark) for mark in still.bright]
    for mark in bright:
        mark[_TINT] = NOW
    under, over = (list(map(plain, marks)) for marks in (still.under, still.marks))
    return [*under, *(boxes if lit else []), *over, *bright]
