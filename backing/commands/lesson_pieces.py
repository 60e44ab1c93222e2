"""What a lesson holds: every file with its heading, what it is in words, and what shapes it.

Each tempo is rendered once, and mixed as often as it is wanted: with all players, without one, one alone. The practice
page takes its sounds from the rendering at the tune's own tempo.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from backing.commands.choices import Choices
from backing.commands.mixes import DUO, SLOW_TO_FAST, about, rising
from backing.commands.naming import changes
from backing.commands.options import Files, Options
from backing.commands.preparing import Prepared, band, prepare
from backing.ground.roles import file_part
from backing.output.asked import Picture

if TYPE_CHECKING:
    from backing.performance.model import Performance

Makes = Mapping[str, str]


class Piece(NamedTuple):
    """A file of a lesson: where, under which heading, what it is in words, and what shapes it."""

    path: str
    group: str
    title: str
    makes: Makes
    about: str = ""


class Mix(NamedTuple):
    """A sound file of a rendering: of all players (`roles` None) or some; `player` and `changed` go into its title."""

    piece: Piece
    roles: frozenset[str] | None = None
    bits: int = 16
    player: str = ""
    changed: str = ""


class Rendering(NamedTuple):
    """A performance, the mixes that are made of it, and the practice page and the video where they are made of it too."""

    performance: Performance
    wish: Options
    mixes: tuple[Mix, ...]
    page: Piece | None = None
    video: Piece | None = None

    @property
    def pieces(self) -> tuple[Piece, ...]:
        return (*(mix.piece for mix in self.mixes), *filter(None, [self.page, self.video]))


class Print(NamedTuple):
    """A file that is read and not heard, and the options that it is made with."""

    piece: Piece
    wish: Options


# what is heard


def heard(
    prepared: Prepared, performance: Performance, stem: str, wish: Options, choices: Choices
) -> list[Rendering]:
    """Every rendering that a lesson needs, in the order of its index."""
    renderings = [full(prepared, performance, stem, wish, choices)]
    renderings += [slower(prepared, stem, wish, s) for s in choices.speeds if s != 100]
    if choices.click:
        own = wish.changed(click="beats")
        played = band(prepared, own)
        renderings.append(whole(played, own, f"{stem}-click.mp3", "With a click", changes(own)))
    if choices.ladder:
        said = ["ladder", *changes(wish)]
        renderings.append(
            whole(rising(prepared, wish), wish, f"{stem}-ladder.mp3", SLOW_TO_FAST, said)
        )
    if choices.loops:
        renderings += loops(prepared, stem, wish)
    return [r for r in renderings if r.pieces]


def full(
    prepared: Prepared, performance: Performance, stem: str, wish: Options, choices: Choices
) -> Rendering:
    """The band at its tempo: the mix, the mixes without each player, the stems, the practice page and the video."""
    from backing.output.jobs import fingerprint

    def beside(path: str, words: str, **more: str) -> Piece:
        makes = {**sounding(performance, wish), **written(prepared, wish), **more}
        return Piece(path, "To practise with", words, makes, about(performance))

    page = beside(f"{stem}.html", "The practice page") if choices.page else None
    look = fingerprint(wish.picture)
    video = beside(f"{stem}.mp4", "The chart as a video", picture=look) if choices.video else None
    own = tuple(mixes(performance, stem, wish, choices))
    return Rendering(performance, wish, own, page, video)


def mixes(performance: Performance, stem: str, wish: Options, choices: Choices) -> Iterator[Mix]:
    """All players together, bass and drums, all but one, and one alone."""
    roles = [p.role for p in performance.players if p.notes and p.role != "click"]
    everyone = frozenset(p.role for p in performance.players)
    said = ", ".join(changes(wish))
    makes, beside = sounding(performance, wish), about(performance)
    if 100 in choices.speeds:
        piece = Piece(f"{stem}.mp3", "The band", "The whole band", makes, beside)
        yield Mix(piece, changed=said)
    if choices.bass_and_drums and set(roles) > DUO:
        path, words = f"{stem}-bass-and-drums.mp3", "Bass and drums"
        piece = Piece(path, "The band", words, {**makes, "only": words}, beside)
        yield Mix(piece, DUO, 16, "bass and drums", said)
    if choices.without and len(roles) > 1:
        for role in roles:
            path, words = f"without/{stem}-without-{file_part(role)}.mp3", f"Without {role}"
            own = {**makes, "without": role}
            piece = Piece(path, "Without one player", words, own, beside)
            yield Mix(piece, everyone - {role}, 16, f"without {role}", said)
    if choices.stems:
        bits = 24 if choices.stems_as in ("wav", "flac") else 16
        for role in roles:
            path = f"stems/{stem}-{file_part(role)}.{choices.stems_as}"
            own = {**makes, "only": role}
            piece = Piece(path, "One player alone", role.capitalize(), own, beside)
            yield Mix(piece, frozenset({role}), bits, role, said)


def slower(prepared: Prepared, stem: str, wish: Options, speed: int) -> Rendering:
    """The whole band at a share of its tempo, played anew."""
    from backing.timeline.reshape import at_tempo

    at_speed = prepared._replace(timeline=at_tempo(prepared.timeline, percent=Fraction(speed)))
    said = [f"{speed} %", *changes(wish)]
    return whole(band(at_speed, wish), wish, f"{stem}-{speed}.mp3", f"At {speed} %", said)


def whole(
    performance: Performance, wish: Options, path: str, words: str, said: Sequence[str]
) -> Rendering:
    """All that a performance sounds as one file."""
    piece = Piece(path, "The band", words, sounding(performance, wish), about(performance))
    return Rendering(performance, wish, (Mix(piece, changed=", ".join(said)),))


def loops(prepared: Prepared, stem: str, wish: Options) -> list[Rendering]:
    """A loop of every section, its first time through."""
    from backing.output.names import worded

    found = []
    sections = [s.name for s in prepared.timeline.sections if s.part != "ending"]
    for name in dict.fromkeys(sections):
        own = wish.changed(
            loop=True, sections=(name,) if name else (), bars=None, choruses=1, length_s=None,
            count_in=None, ending=None,
        )  # fmt: skip
        performance = band(prepare(prepared.chart, own), own)
        words = f"Section {name}, round and round" if name else "The chorus, round and round"
        path = f"loops/{stem}-{worded(name or 'chorus', 'section')}.wav"
        piece = Piece(
            path, "Loops", words, sounding(performance, own), about(performance, loop=True)
        )
        said = ", ".join([name or "the chorus", "loop", *changes(wish)])
        found.append(Rendering(performance, own, (Mix(piece, changed=said),)))
    return found


def sounding(performance: Performance, wish: Options) -> dict[str, str]:
    """What shapes the sound of a performance, by name."""
    from backing.output.files import MADE_BY
    from backing.output.jobs import fingerprint
    from backing.output.midi import midi_bytes
    from backing.output.sound.digests import digest_of_font
    from backing.output.sound.soundfont import find

    levels = [
        (float(v.at_q), v.level_db, v.pan, v.room) for p in performance.players for v in p.voices
    ]
    return {
        "program": MADE_BY,
        "notes": fingerprint(midi_bytes(performance)),
        "levels": fingerprint(levels),
        "soundfont": digest_of_font(find(wish.sound.soundfont)),
        "sound": fingerprint(wish.sound._replace(soundfont=None)),
    }


# what is read


def papers(
    prepared: Prepared, performance: Performance, stem: str, wish: Options, choices: Choices
) -> list[Print]:
    """What is read and not heard: sheets, MIDI, captions, timeline, the chart itself."""
    from backing.output.jobs import fingerprint
    from backing.output.midi import midi_bytes

    found = []
    for sheet, own in zip(choices.sheets, sheets(wish, choices), strict=True):
        words = "The sheet" if sheet == "concert" else f"The sheet for {sheet} instruments"
        tail = "" if sheet == "concert" else f"-{sheet}"
        piece = Piece(f"{stem}{tail}.pdf", "To read", words, written(prepared, own))
        found.append(Print(piece, own))
    makes = {**written(prepared, wish), "notes": fingerprint(midi_bytes(performance, wish.sound))}
    for asked, ending, group, words in (
        (choices.midi, ".mid", "For other programs", "MIDI for an editor"),
        (choices.captions, ".vtt", "For other programs", "Captions for a video"),
        (choices.timeline, ".json", "For other programs", "The timeline in seconds"),
        (choices.chart, ".txt", "To read", "The chart itself"),
    ):
        if asked:
            found.append(Print(Piece(f"{stem}{ending}", group, words, makes), wish))
    return [*found, *parts(prepared, performance, stem, wish)]


def parts(
    prepared: Prepared, performance: Performance, stem: str, wish: Options
) -> Iterator[Print]:
    """The parts that are asked for, on paper and for a notation program. Raises `OutputError` for one nobody plays."""
    if not wish.paper.parts:
        return
    from backing.output.jobs import fingerprint
    from backing.output.midi import midi_bytes
    from backing.output.parts.engraved import players_of

    makes = {**written(prepared, wish), "notes": fingerprint(midi_bytes(performance, wish.sound))}
    all_of_them = "all" in wish.paper.parts
    names = ("score",) if all_of_them else players_of(performance.arrangement, wish.paper)
    for name in names:
        own = wish if all_of_them else wish.changed(parts=(name,))
        words = "The score of all players" if all_of_them else f"The part of the {name}"
        for ending, kind in ((".pdf", ""), (".musicxml", ", for a notation program")):
            path = (
                f"parts/{stem}-{file_part(name)}{ending}"
                if not all_of_them
                else f"parts/{stem}-score{ending}"
            )
            yield Print(Piece(path, "Parts", f"{words}{kind}", {**makes, "part": name}), own)


def sheets(wish: Options, choices: Choices) -> list[Options]:
    """The options of each sheet, in the order in which they are chosen."""
    return [
        wish.changed(transposing=None if s == "concert" else s, parts=()) for s in choices.sheets
    ]


def written(prepared: Prepared, wish: Options) -> dict[str, str]:
    """What shapes a sheet, by name; `--force` shapes no file, and what a video looks like only the video."""
    from backing.commands.writing import shown_tempo
    from backing.output.files import MADE_BY
    from backing.output.jobs import fingerprint

    return {
        "program": MADE_BY,
        "chart": fingerprint(prepared.chart.source.text),
        "options": fingerprint(wish._replace(files=Files(), picture=Picture())),
        "style": fingerprint(prepared.style.name, shown_tempo(prepared, wish)),
    }
