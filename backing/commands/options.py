"""The options of a track: one table, from which help, readers, refusals and `Options` are made.

Conventions: an option is typed as text, a flag, or text given several times; its reader turns one text into a value
and says what to type instead of a wrong one. A row's `field` names the place in `Options` that the value goes to. A new
option is a row here and a field in its part; `tests/test_options.py` says what is missing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from backing.commands import values as v
from backing.ground.errors import RequestError
from backing.ground.manners import INTROS, PLANS
from backing.output.asked import BACKGROUNDS, SCREENS, Paper, Picture, Sound
from backing.reading.asked import READ_AS, Reading
from backing.timeline.form import Form


class Band(NamedTuple):
    """Who plays and how; `only` and `without` are roles, another `seed` is another performance.

    `straight` puts every note on the exact grid.
    """

    click: str = "off"
    without: tuple[str, ...] = ()
    only: tuple[str, ...] = ()
    guide_tones: bool = False
    seed: int = 1
    straight: bool = False


class Files(NamedTuple):
    """Which files are written. `stems_as` None is WAV beside a track, MP3 in a lesson."""

    stems: bool = False
    stems_as: str | None = None
    force: bool = False


class Options(NamedTuple):
    """Everything that shapes one track, by those who need it; the defaults ask for the chart as it stands."""

    form: Form = Form()
    band: Band = Band()
    sound: Sound = Sound()
    paper: Paper = Paper()
    picture: Picture = Picture()
    files: Files = Files()
    reading: Reading = Reading()

    def changed(self, **values: object) -> Options:
        """The same with other values of these fields, whichever part they lie in. Raises `TypeError`."""
        parts: dict[str, Any] = self._asdict()
        for name, value in values.items():
            part = PART_OF.get(name)
            if part is None:
                raise TypeError(f"no option has a field {name!r}")
            parts[part] = parts[part]._replace(**{name: value})
        return Options(**parts)


PART_OF = {
    name: part for part, values in Options()._asdict().items() for name in values._fields
}  # field: part


class Option(NamedTuple):
    """One option. `usual` is what it is where nobody types it: None, text, False for a flag, () for one of many.

    `field` is its place in `Options` (two places where the reader gives two values); `example` is what may be typed.
    """

    flag: str
    field: str
    read: Callable[[str], Any]
    usual: str | bool | tuple[str, ...] | None
    metavar: str
    help: str
    example: str

    @property
    def name(self) -> str:
        """As a Python argument: `count_in`; `for_`, since `for` is a word of the language."""
        name = self.flag.lstrip("-").replace("-", "_")
        return f"{name}_" if name == "for" else name

    @property
    def part(self) -> str:
        """The part of `Options` that it belongs to."""
        return self.field.partition(".")[0]


# flag, field, reader, usual value, metavar, help, example; in the order in which help shows them
TABLE: tuple[Option, ...] = tuple(Option(*row) for row in (
    ("--tempo",       "form.tempo_bpm tempo_percent", v.tempo, None, "96 or 75%",   "Beats a minute, or a percentage of the chart's tempo.", "75%"),
    ("--key",         "form.key",         v.key,               None, "KEY",         "Play in this key: Eb, F# minor.", "Eb"),
    ("--transpose",   "form.transpose",   v.whole(-24, 24),    None, "SEMITONES",   "Move by semitones, up or down.", "-2"),
    ("--style",       "form.style",       v.words,             None, "NAME or PATH", "A style by name, or a file ending in .toml.", "bossa nova"),
    ("--choruses",    "form.choruses",    v.whole(1, 200),     None, "N",           "Play the chorus N times.", "2"),
    ("--length",      "form.length_s",    v.length,            None, "10:00",       "As many whole choruses as fill this time.", "0:20"),
    ("--section",     "form.sections",    v.name,              (),   "NAME",        "Only this section; may be given again.", "B"),
    ("--bars",        "form.bars",        v.bars,              None, "9-16",        "Only these bars of the sheet, first time through.", "2-3"),
    ("--ending",      "form.ending",      v.ending,            None, "MANNER",      "ring, short, tag, rit, fade 4 or as written.", "short"),
    ("--intro",       "form.intro",       v.choice(*INTROS), None, "MANNER",      f"An introduction where none is written: {', '.join(INTROS)}.", "vamp"),
    ("--count-in",    "form.count_in",    v.count_in,          None, "BARS or off", "Bars of count-in.", "1"),
    ("--click",       "band.click",       v.choice(*v.CLICKS), "off", "KIND",       f"A click through the track: {', '.join(v.CLICKS)}.", "beats"),
    ("--without",     "band.without",     v.roles,             (),   "PLAYER",      "Leave this player out; may be given again.", "drums"),
    ("--only",        "band.only",        v.roles,             (),   "PLAYER",      "Only this player; may be given again.", "bass"),
    ("--guide-tones", "band.guide_tones", v.flag,              False, "",           "A player sounds the line of thirds and sevenths.", ""),
    ("--plain",       "form.plain",       v.flag,              False, "",           "No ninths or thirteenths that the chart does not write.", ""),
    ("--capo",        "form.capo",        v.whole(0, 12),      None, "FRET",        "A capo for the guitars, as capo: in a chart; 0 for none.", "3"),
    ("--tuned",       "form.tuned",       v.whole(-12, 12),    None, "SEMITONES",   "Guitars tuned lower or higher, as tuned: in a chart.", "-2"),
    ("--chord-melody", "form.chord_melody", v.chord_melody,    None, "full|easy|bass", "A solo guitar plays tune and chords together (full where it stands alone), in place of the melody and the guitars; off for none.", "full"),
    ("--stems",       "files.stems",      v.flag,              False, "",           "One more file a player, aligned with the mix.", ""),
    ("--stems-as",    "files.stems_as",   v.choice(*v.STEM_KINDS), None, "FORMAT",  "wav, flac, ogg, mp3 or m4a.", "flac"),
    ("--loop",        "sound.loop",       v.flag,              False, "",           "A file whose end runs into its start without a seam.", ""),
    ("--level",       "sound.levels",     v.levels,            (),   "PLAYER=DB",   "This player louder or softer by so many dB, whatever levels: in the chart says; may be given again.", "bass=-6"),
    ("--bits",        "sound.bits",       v.bits,              "16", "16 or 24",    "Bits a sample in WAV and FLAC files.", "24"),
    ("--seed",        "band.seed",        v.seed,              "1",  "N",           "Another number, another performance; the same number, the same bytes.", "2"),
    ("--plan",        "form.plan",        v.choice(*PLANS),  None, "|".join(PLANS), "full: who plays when, registers and drops are planned over the track; flat: everybody plays steadily throughout.", "flat"),
    ("--straight",    "band.straight",    v.flag,              False, "",           "Every note on the exact grid, for notation: no swing, no human timing.", ""),
    ("--soundfont",   "sound.soundfont",  v.path,              None, "PATH",        "The sounds to play with (.sf2).", "my.sf2"),
    ("--loudness",    "sound.loudness",   v.number(-40, -6),   "-16", "LUFS",       "Integrated loudness of the mix.", "-20"),
    ("--a4",          "sound.a4",         v.number(415, 466),  "440", "HZ",         "Concert pitch, 415 to 466.", "442"),
    ("--for",         "paper.transposing", v.choice(*v.TRANSPOSING), None, "|".join(v.TRANSPOSING), "The sheet for a transposing instrument.", "Bb"),
    ("--paper",       "paper.size",       v.choice(*v.PAPERS), "a4", "a4 or letter", "The size of the sheet.", "letter"),
    ("--write-as",    "paper.write_as",   v.choice("letters", "numbers", "numerals"), None, "NOTATION", "Chords on the sheet and in text as letters, numbers or numerals.", "numbers"),
    ("--signs",       "paper.signs",      v.flag,              False, "",           "△, –, ° and ø in place of maj, m, dim and m7b5, on sheet and page.", ""),
    ("--grips",       "paper.grips",      v.grips,             None, "foot or above", "Guitar grips on the sheet: at its foot for every chord used (as --grips alone), or above the bars.", "above"),
    ("--near",        "paper.near",       v.whole(0, 12),      None, "FRET",        "With --grips: grips about this fret.", "5"),
    ("--part",        "paper.parts",      v.parts,             (),   "PLAYER",      "What this player plays, engraved, in place of the sheet (.pdf, .svg, .png, .musicxml); all for the score; may be given again.", "bass"),
    ("--tab",         "paper.tab",        v.choice("on", "off", "only"), "on", "on|off|only", "Tab in the parts of guitar and bass, and in a video under the chords that a solo guitar plays.", "off"),
    ("--screen",      "picture.screen",   v.choice(*SCREENS),   SCREENS[0], "|".join(SCREENS), "The screen that a video is for; upright is a phone's, 1080 by 1920.", "720p"),
    ("--background",  "picture.background", v.choice(*BACKGROUNDS), BACKGROUNDS[0], "|".join(BACKGROUNDS), "Behind the chart of a video; black and green to lay over a film.", "black"),
    ("--tune-number", "reading.tune_number", v.whole(0, 99_999), None, "N",        "Of a file with several tunes the one with this number (X: in ABC).", "3"),
    ("--read-as",     "reading.read_as",  v.choice(*READ_AS),  None, "FORMAT",      f"How the chart is written, where it does not show it: {', '.join(READ_AS)}.", "words"),
    ("--track",       "reading.track",    v.whole(1, 999),     None, "N",           "Of a MIDI file the track with the melody, from 1.", "2"),
    ("--bars-per-line", "reading.bars_per_line", v.whole(1, 16), None, "N",        "Of words with chords over them: how many bars a line has.", "4"),
    ("--force",       "files.force",      v.flag,              False, "",           "Replace files that this program did not make.", ""),
))  # fmt: skip
BY_NAME = {option.name: option for option in TABLE}

# Two that say the same thing in two ways.
PAIRS = (
    ("--key", "--transpose"),
    ("--choruses", "--length"),
    ("--section", "--bars"),
    ("--only", "--without"),
)

# What a command does not take: a part of the options or one of them, and what is said instead.
REFUSED: dict[str, dict[str, str]] = {
    "python": {
        "--loop": "a loop is played three times to take the middle one, which backing make does",
    },
    "explain": {
        "picture": "it shapes a video, and explain makes none",
        "sound": "it shapes the sound, and explain makes none",
        "paper": "it shapes the sheet, and explain prints none",
        "files": "explain writes no files",
    },
    "check": {
        "picture": "it shapes a video, and check makes none",
        "sound": "it shapes the sound, and check makes none",
        "paper": "it shapes the sheet, and check prints none",
        "files": "check writes no files",
    },
    "play": {
        "picture": "it shapes a video, and play makes none; backing make does",
        "paper": "it shapes the sheet, and play prints none",
        "files": "play writes no files; backing make does",
        "--bits": "play writes no files; backing make does",
    },
    "rehearse": {
        "--loop": "a practice track goes through its passes; a loop is made by backing make",
        "--part": "a practice track goes through its passes; a part is written by backing make",
        "--tab": "a practice track goes through its passes; a part is written by backing make",
    },
    "book": {
        "--stems": "stems belong to a lesson; --make lesson makes one for each tune",
        "--stems-as": "stems belong to a lesson; --make lesson makes one for each tune",
        "--loop": "a loop is made by backing make, or by a lesson for every section",
        "--for": "in a book --sheets names the instruments, such as --sheets concert,Bb",
        "--part": "parts of players belong to a lesson, or are written by backing make",
        "--tab": "parts of players belong to a lesson, or are written by backing make",
    },
    "lesson": {
        "--stems": "a lesson holds stems already; leave them out with stems = false under [lesson] in --choices FILE",
        "--loop": "a lesson holds a loop of every section already",
        "--for": "in a lesson --sheets names the instruments, such as --sheets concert,Bb",
    },
}


def refusal(option: Option, command: str) -> str | None:
    """Why a command does not take an option, None where it does."""
    refused = REFUSED.get(command, {})
    return refused.get(option.flag) or refused.get(option.part)


def options(command: str = "make", **typed: object) -> Options:
    """Options as typed on the command line, read: `options(tempo="75%", key="Eb", only=["bass", "drums"])`.

    What is not typed is as usual; a number may be typed as one. Raises `RequestError` for a value that cannot be
    read, for two that say the same thing, and for what the command does not take.
    """
    given = {
        name: value
        for name, value in typed.items()
        if value not in (_usual(name), None) and not (value == [] and _usual(name) == ())
    }
    for one, other in PAIRS:
        if _name(one) in given and _name(other) in given:
            raise RequestError(
                f"{one} and {other} say the same thing in two ways; give one of them"
            )
    values: dict[str, object] = {}
    for name, value in given.items():
        option = BY_NAME[name]
        if words := refusal(option, command):
            raise RequestError(f"{option.flag}: {words}")
        values |= _values(option, value)
    return Options().changed(**values)


def over(wish: Options, typed: Mapping[str, object], command: str) -> Options:
    """Options with what is typed for one tune on top; of two that say the same thing the tune's own counts.

    Raises `RequestError` as `options` does.
    """
    own = options(command, **typed)
    fields = [
        name
        for typed_name in typed
        for flag in (BY_NAME[typed_name].flag, *_others(BY_NAME[typed_name].flag))
        for name in BY_NAME[_name(flag)].field.partition(".")[2].split()
    ]
    return wish.changed(**{name: getattr(getattr(own, PART_OF[name]), name) for name in fields})


def _others(flag: str) -> list[str]:
    """The options that say the same thing in another way."""
    return [other for pair in PAIRS if flag in pair for other in pair if other != flag]


def _name(flag: str) -> str:
    return next(o.name for o in TABLE if o.flag == flag)


def _usual(name: str) -> object:
    """The usual value of an option by its Python name. Raises `RequestError`."""
    if name not in BY_NAME:
        raise RequestError(f"there is no option {name!r}.{v.near(name, tuple(BY_NAME))}")
    return BY_NAME[name].usual


def _values(option: Option, typed: object) -> Mapping[str, object]:
    """The fields of an option with what was typed for it."""
    names = option.field.partition(".")[2].split()
    if isinstance(option.usual, tuple):
        texts = typed if isinstance(typed, list | tuple) else (typed,)
        found = [one for text in texts for one in read_one(option, text)]
        return {names[0]: tuple(dict.fromkeys(found))}
    value = read_one(option, typed)
    return dict(zip(names, value if len(names) > 1 else (value,), strict=True))


def read_one(option: Option, typed: object) -> Any:
    """One text as a value. Raises `RequestError` with the option, what was typed, and what to type instead."""
    if isinstance(option.usual, bool):
        return bool(typed)
    text = str(typed)
    try:
        return option.read(text)
    except RequestError as wrong:
        raise RequestError(f"{option.flag} {text}: {wrong}") from None
