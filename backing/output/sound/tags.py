"""What a sound file says about itself.

Sources: ID3v2.3 (TBPM holds digits only, TKEY at most three characters, TRCK a number or number/count); RIFF INFO
(INAM, IART, IPRD, ITRK, ICMT, ISFT); Vorbis comments by their usual names, chapters as CHAPTERxxx and CHAPTERxxxNAME.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from backing.ground.timebase import Tempo
from backing.output.files import MADE_BY, MARK

if TYPE_CHECKING:
    from backing.performance.model import Performance


@dataclass(frozen=True, slots=True)
class Label:
    """What a file of a tune is called: what is told of it beside the tune's own title.

    `player` is who plays or is left out; `changed` what was done to the tune ("70 %", "in Eb"); `album` the collection
    that it belongs to, "" for the tune itself; `track` its number there and of how many, 0 where it has none.
    """

    player: str = ""
    changed: str = ""
    album: str = ""
    track: int = 0
    tracks: int = 0


@dataclass(frozen=True, slots=True)
class Tags:
    """`chapters` are milliseconds and names, in order; `track` is a number, or number/count, or empty.

    `bpm` is 0 where there is no one tempo.
    """

    title: str
    by: str
    bpm: int
    key: str
    comment: str
    chapters: tuple[tuple[int, str], ...] = ()
    maker: str = MADE_BY
    album: str = ""
    track: str = ""

    @property
    def told(self) -> str:
        """The comment with tempo and key, for formats that have no field for them."""
        return f"{self.comment}; {self.bpm} bpm, {self.key}" if self.bpm else self.comment


THE_BAND = Label()  # the whole band, nothing changed


def tags_of(performance: Performance, label: Label = THE_BAND, soundfont: str = "") -> Tags:
    """The tags of a mix, or of whatever else its label says it is."""
    arrangement = performance.arrangement
    timeline = arrangement.timeline
    us = performance.tempo.us_at(timeline.bars[0].start_q)
    beat_q = Tempo(Fraction(1)).unit(timeline.bars[0].meter)
    of = f"/{label.tracks}" if label.tracks else ""
    said = [text for text in (label.changed, label.player) if text]
    played = f", soundfont {soundfont}" if soundfont else ""
    return Tags(
        title=timeline.title + "".join(f" ({text})" for text in said),
        by=timeline.by,
        bpm=round(60_000_000 / us / float(beat_q)),
        key=timeline.bars[0].key.short_name,
        comment=f"{MARK}; style {arrangement.style.name}, seed {arrangement.seed}{played}",
        chapters=tuple((round(m.at_s * 1000), m.text) for m in performance.markers),
        album=label.album or timeline.title,
        track=f"{label.track}{of}" if label.track else "",
    )
