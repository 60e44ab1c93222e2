"""The screens that a video is for, and the colours of its backgrounds.

Conventions: everything is laid out in the pixels of the full-size screen, y down; a smaller one is the same, scaled. Frame
`n` of `FPS` a second shows what the tune is at in the middle of its time, so what begins at a place is seen on the frame
nearest to it, at most half a frame early or late.

Why 30 frames a second: every phone, site and editing program takes it; the rule still grows by a few pixels a frame; and
half a frame (17 ms) is well inside what nobody sees as out of step (ITU-R BT.1359: from 45 ms early to 125 ms late).
"""

from __future__ import annotations

from typing import NamedTuple

FPS = 30


class Screen(NamedTuple):
    """A screen as it is laid out, and how much smaller it is shown.

    `margin` is beside the lines, for section and bar number; 0 where they stand over the line. `largest` and `least` are
    sizes of chords (the em of their root), within which the tune's own is chosen. `most` are rows that sound together;
    they stand under the title card, which has the top down to `head`.
    """

    wide: int
    high: int
    scale: float
    side: float
    margin: float
    largest: float
    least: float
    most: int
    head: float

    @property
    def pixels(self) -> tuple[int, int]:
        """Width and height of the picture, both even."""
        return round(self.wide * self.scale), round(self.high * self.scale)

    @property
    def room(self) -> float:
        """The length of a line."""
        return self.wide - 2 * self.side - self.margin


class Colours(NamedTuple):
    """Paper, ink, soft ink, and what sounds now."""

    paper: str
    ink: str
    soft: str
    now: str


# name, width, height, scale, side, margin, largest, least, most rows together, head
SCREENS = {
    "1080p":   Screen(1920, 1080, 1.0,   72.0, 150.0, 132.0, 84.0, 2, 290.0),
    "720p":    Screen(1920, 1080, 2 / 3, 72.0, 150.0, 132.0, 84.0, 2, 290.0),
    "upright": Screen(1080, 1920, 1.0,   48.0, 0.0,   132.0, 88.0, 4, 420.0),
}  # fmt: skip

# White and black as on the practice page, black being full, so that it can be laid over a film by adding light; green as
# studios paint it for keying (common practice), a little darker for white letters, with ink that is far from it.
BACKGROUNDS = {
    "white": Colours("#ffffff", "#171717", "#666666", "#a3207a"),
    "black": Colours("#000000", "#f4f4f4", "#a0a0a0", "#e58cc6"),
    "green": Colours("#00a53c", "#ffffff", "#ffffff", "#5c0040"),
}
