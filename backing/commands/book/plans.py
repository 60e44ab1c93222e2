"""From a tune of a list to the jobs that make its files: what they are called, and what shapes each.

Conventions: paths are relative to the book. Every file has the tune's name, with what its line asks for in it, and in a
book of several keys and tempos those too; so its name depends on nothing but its own line. What shapes a file is told
by name, as in every log; a tune is read only where nothing of its chart is in the log: the styles that it names and its
key are remembered there, in the row of its hidden file.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache, partial
from itertools import accumulate
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from backing.commands.book.choices import WHOLE, BookChoices, Version, versions
from backing.commands.book.listing import Listing, Tune, missing
from backing.commands.book.tune import Work, make_tune, renumber
from backing.commands.naming import changes
from backing.commands.options import Band, Files, Options
from backing.commands.planned import SOUND
from backing.commands.reading import called, read_bytes
from backing.ground.errors import BackingError, ChartError
from backing.ground.pitch import Key
from backing.output.asked import Sound
from backing.output.files import MADE_BY
from backing.output.jobs import Job, Output, Row, Why, fingerprint
from backing.output.names import unique
from backing.output.sound.tags import Label

if TYPE_CHECKING:
    from backing.commands.progress import Progress
    from backing.output.bundle import Due
    from backing.styles.model import Style

HIDDEN = ".backing"
FOLDERS = {
    "mid": "midi", "html": "pages", "pdf": "sheets", "lesson": "lessons", "json": "times", "vtt": "times",
    **{ending[1:]: "album" for ending in SOUND},
}  # fmt: skip
NAMES = {
    "html": "Practice page", "mid": "MIDI", "pdf": "Sheet", "lesson": "Lesson", "json": "Timeline", "vtt": "Captions",
    "txt": "Chart", "musicxml": "MusicXML", "mxl": "MusicXML", "abc": "ABC", "cho": "Words",
}  # fmt: skip
FIRST = (
    "html",
    *(ending[1:] for ending in SOUND),
    "pdf",
)  # of the files of a tune on the contents page
PER_KEY = ("html", "pdf", "musicxml", "mxl", "abc", "cho", "txt")  # a tempo does not change them


class Told(NamedTuple):
    """What must be known of a chart before its files are named: the styles that it names, and its key."""

    styles: tuple[str, ...]
    key: str


class Made(NamedTuple):
    """A file of a tune: where, of which kind, of which version, that in words, and the instrument that reads it."""

    path: str
    kind: str
    version: Version
    words: str
    sheet: str = "concert"


class Plan(NamedTuple):
    """A tune with its files and jobs; `marks` are the hidden sheets by instrument. `failure` where it cannot be read."""

    tune: Tune
    name: str
    facts: str
    marks: Mapping[str, str]
    files: tuple[Made, ...]
    jobs: tuple[Job, ...]
    failure: BackingError | None = None


class Album(NamedTuple):
    """What the sound of a tune says of the book: its title, and which of how many tunes it is."""

    title: str
    track: int
    tracks: int


def plans(found: Listing, choices: BookChoices, rows: Mapping[str, Row]) -> Iterator[Plan]:
    """The plan of every tune, in order."""
    stems = unique([f"{tune.name}.x" for tune in found.tunes])
    heard = [int(any(f".{k}" in SOUND for k in kinds_of(t, choices))) for t in found.tunes]
    count = sum(heard)
    for tune, stem, number in zip(found.tunes, stems, accumulate(heard), strict=True):
        album = Album(found.title, number, count)
        yield plan(tune, stem.removesuffix(".x"), choices, rows, album)


def kinds_of(tune: Tune, choices: BookChoices) -> tuple[str, ...]:
    """The kinds of files that are made of a tune."""
    return choices.make if tune.make is None else tuple(filter(None, tune.make.split(",")))


def plan(
    tune: Tune,
    stem: str,
    choices: BookChoices,
    rows: Mapping[str, Row],
    album: Album,
) -> Plan:
    """The plan of one tune. One that cannot be read has the files that it had when it could."""
    hidden = f"{HIDDEN}/tunes/{stem}.json"
    row = rows.get(hidden)
    kinds = kinds_of(tune, choices)
    sheets = choices.sheets if "book" in choices.make else ()
    marks = {sheet: f"{HIDDEN}/sheets/{stem}-{sheet}.json" for sheet in sheets}
    failure: BackingError | None = None
    data, told = b"", _remembered(row)
    asked = fingerprint(tune.wish.reading, tune.wish.form.style)
    try:
        if not tune.path.exists():
            raise ChartError([missing(tune)])
        data = read_bytes(tune.path)
        chart = fingerprint(data)
        if row is None or (row.makes.get("chart"), row.makes.get("asked")) != (chart, asked):
            told = look(data, tune)
        assert told is not None
    except BackingError as wrong:
        failure = wrong
    if told is None:
        return Plan(tune, stem, hidden, marks, (), (), failure)
    files = tuple(files_of(stem, kinds, choices, Key.parse(told.key)))
    if failure is not None:
        return Plan(tune, stem, hidden, marks, files, (), failure)
    base = {
        "program": MADE_BY, "tune": stem, "chart": chart, "styles": fingerprint(*map(digest, told.styles)),
    }  # fmt: skip
    memory = {"asked": asked, "named": "|".join(told.styles), "key": told.key}
    maker = _Maker(tune, data, told, base, album)
    jobs = maker.jobs(hidden, marks, files, memory, choices)
    return Plan(tune, stem, hidden, marks, files, tuple(jobs))


def _remembered(row: Row | None) -> Told | None:
    if row is None or "named" not in row.makes:
        return None
    return Told(tuple(filter(None, row.makes["named"].split("|"))), row.makes["key"])


def look(data: bytes, tune: Tune) -> Told:
    """Read a chart for its styles and its key. Raises `ChartError`, `RequestError`, `StyleError`."""
    from backing.commands.preparing import written_style
    from backing.reading.opened import opened
    from backing.styles.shelf import is_path
    from backing.timeline.unroll import first_key, style_name

    name = called(tune.path)
    chart = opened(data, name, tune.wish.reading)
    own = [] if tune.wish.form.style else [style_name(chart)]
    own += [s.settings.style for s in chart.sections if s.settings.style and own]
    for style in dict.fromkeys(own):
        written_style(chart, style)  # a name that is unknown is told at its place in the chart
    here = tune.path.parent
    named = [str(here / style) if is_path(style) else style for style in own]
    asked = [tune.wish.form.style] if tune.wish.form.style else []
    return Told(tuple(dict.fromkeys([*asked, *named])), first_key(chart).name)


def loaded(names: Sequence[str]) -> dict[str, Style]:
    """The styles by their names. Raises `StyleError`, `RequestError`."""
    return {name: _style(name) for name in names}


@lru_cache(maxsize=256)
def _style(name: str) -> Style:
    from backing.styles.find import find

    return find(name)


@lru_cache(maxsize=256)
def digest(name: str) -> str:
    """A hash of everything that a style's files say."""
    from backing.styles.shelf import files

    return fingerprint(name, *(path.read_bytes() for path in files(name)))


def files_of(stem: str, kinds: Sequence[str], choices: BookChoices, key: Key) -> Iterator[Made]:
    """Every file of a tune, those of a version together."""
    for number, version in enumerate(versions(choices.keys, choices.tempos, key)):
        for kind in kinds:
            timed = kind not in PER_KEY and kind != "lesson"
            if kind in WHOLE or (kind == "lesson" and number):
                continue
            if version.share is not None and not timed:
                continue
            if version.share is None and timed and choices.tempos:
                continue
            path = f"{FOLDERS.get(kind, 'charts')}/{stem}{'' if kind == 'lesson' else version.tail}"
            if kind == "pdf":
                for sheet in choices.sheets:
                    tail, words = ("", "") if sheet == "concert" else (f"-{sheet}", f" for {sheet}")
                    yield Made(
                        f"{path}{tail}.pdf", kind, version, f"{version.words}{words}".strip(), sheet
                    )
            else:
                ending = "zip" if kind == "lesson" else kind
                yield Made(f"{path}.{ending}", kind, version, version.words)


class _Maker:
    """Makes the jobs of a tune: one for each of its versions."""

    def __init__(
        self, tune: Tune, data: bytes, told: Told, base: Mapping[str, str], album: Album
    ) -> None:
        self.tune, self.data, self.told, self.base, self.album = tune, data, told, base, album

    def jobs(
        self,
        hidden: str,
        marks: Mapping[str, str],
        files: Sequence[Made],
        memory: Mapping[str, str],
        choices: BookChoices,
    ) -> Iterator[Job]:
        """The jobs; the first also makes the hidden files."""
        key = Key.parse(self.told.key)
        for number, version in enumerate(versions(choices.keys, choices.tempos, key)):
            own = [made for made in files if made.version == version]
            wish = in_version(self.tune.wish, version)
            if number == 0:
                yield self.job(wish, own, hidden, marks, memory)
            elif own:
                yield self.job(wish, own, "", {}, {})

    def job(
        self,
        wish: Options,
        files: Sequence[Made],
        hidden: str,
        marks: Mapping[str, str],
        memory: Mapping[str, str],
    ) -> Job:
        """The work of one version."""
        label = Label(changed=", ".join(changes(wish)), album=self.album.title, track=self.album.track, tracks=self.album.tracks)  # fmt: skip
        heard = any(f".{made.kind}" in SOUND for made in files)
        work = Work(
            self.data, called(self.tune.path), {}, wish, label,
            {made.path: made.sheet for made in files if made.kind == "pdf"},
            hidden, {path: sheet for sheet, path in marks.items()},
            next((made.path for made in files if made.kind == "lesson"), ""), heard and bool(hidden),
        )  # fmt: skip
        outputs = [Output(made.path, self.makes(made, wish, label)) for made in files]
        if hidden:
            long = {"long": "yes" if work.long else "no"}
            outputs.append(Output(hidden, {**self.base, **memory, **long, "options": read(wish)}))
        outputs += [
            Output(path, {**self.base, "options": read(wish), "sheet": sheet, "form": drawn_by()})
            for sheet, path in marks.items()
        ]
        return Job(tuple(outputs), Later(work, self.told.styles), called(self.tune.path))

    def makes(self, made: Made, wish: Options, label: Label) -> dict[str, str]:
        """What shapes a file of the tune."""
        if made.kind in PER_KEY and made.kind != "html":
            return {**self.base, "options": read(wish), "sheet": made.sheet}
        plain = wish._replace(files=Files(), sound=wish.sound._replace(soundfont=None))
        found = {**self.base, "options": fingerprint(plain)}
        if f".{made.kind}" in SOUND or made.kind in ("html", "lesson"):
            found["soundfont"] = soundfont(wish.sound.soundfont)
        if f".{made.kind}" in SOUND:
            found["track"] = f"{label.album} {label.track}/{label.tracks}"
        return found


def read(wish: Options) -> str:
    """What shapes a file that is read and not heard."""
    return fingerprint(wish._replace(files=Files(), band=Band(), sound=Sound()))


@lru_cache(maxsize=1)
def drawn_by() -> str:
    """The hash of what draws the marks of a sheet, and so of their form: marks of another form cannot be drawn by it."""
    from backing.output import sheet

    return fingerprint(Path(sheet.__file__).with_name("sheet.typ").read_bytes())


@lru_cache(maxsize=16)
def soundfont(asked: Path | None) -> str:
    """The hash of the soundfont that plays. Raises `AudioUnavailable`."""
    from backing.output.sound.digests import digest_of_font
    from backing.output.sound.soundfont import find

    return digest_of_font(find(asked))


def in_version(wish: Options, version: Version) -> Options:
    """The options of a tune in another key and at a share of its tempo."""
    note, share = version
    if note is not None:
        wish = wish.changed(key=Key.parse(note), transpose=None)
    if share is None:
        return wish
    if wish.form.tempo_bpm is not None:
        return wish.changed(tempo_bpm=wish.form.tempo_bpm * share)
    return wish.changed(tempo_percent=(wish.form.tempo_percent or Fraction(1)) * share)


@dataclass(frozen=True, slots=True)
class Later:
    """Work whose styles are loaded when it is due, which most of it is not."""

    work: Work
    styles: tuple[str, ...]

    def __call__(self, folder: Path, wanted: frozenset[str], progress: Progress) -> object:
        return make_tune(self.whole(), folder, wanted, progress)

    def whole(self) -> Work:
        """The work as it is sent. Raises `StyleError`, `RequestError`."""
        return self.work._replace(styles=loaded(self.styles))


def ready(due: Due, place: Path) -> Job:
    """A job as it is to be done. Raises `StyleError`, `RequestError`."""
    assert isinstance(due.job.make, Later)
    return only_numbered(due.job, due.outputs, due.whys, place) or due.job._replace(
        make=partial(make_tune, due.job.make.whole())
    )


def only_numbered(job: Job, due: Sequence[Output], whys: Sequence[Why], place: Path) -> Job | None:
    """The light job for MP3s of which nothing has changed but their number in the album, None where more has."""
    if len(due) != 1 or whys != (Why("changed", "track"),) or not due[0].path.endswith(".mp3"):
        return None
    assert isinstance(job.make, Later)
    return job._replace(make=partial(renumber, place / due[0].path, job.make.work.label))
