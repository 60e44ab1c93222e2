"""What is in a book and in which order: a text file with a tune a line, or a folder of charts.

Conventions: as in charts `name: value` is a setting, `[words]` a heading and `#` begins a comment. A tune is the name of
its chart, relative to the list, in quotes where it holds blanks, with options of a track behind it. A mistake in a list
is a diagnostic with its place (codes L1); of a folder, folders below it are headings.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from backing.commands.naming import file_stem
from backing.commands.options import BY_NAME, Option, Options, over
from backing.commands.reading import near_file, read_bytes
from backing.commands.values import near
from backing.ground.errors import ChartError, OutputError, RequestError
from backing.ground.source import Diagnostic, Source, Span
from backing.output.names import safe

SETTINGS = ("title", "by")
# code: (sentence, hint)
CODES = {
    "L101": ("there is no option {found}", "{hint}"),
    "L102": ("{found} has no value", "type  {found} {example}"),
    "L103": ("{message}", "{hint}"),
    "L104": ("there is no chart {found}", "{hint}"),
    "L105": ("a line begins with the name of a chart, here it begins with {found}", "type  tune.txt {found}"),
    "L106": ("a heading stands in brackets by itself", "type  [{found}]"),
    "L107": ("there is no setting named {found}", "a list has title: and by:"),
    "L108": ("settings stand above the first tune", "move this line up"),
    "L109": ("a quote is not closed", 'type " behind the name'),
    "L110": ("the list has no tunes", "write the name of a chart in each line, such as  waltz.txt --key Eb"),
    "L111": ("a chart is followed by options, here stands {found}", 'put names with blanks in quotes, such as  "old waltz.txt"'),
    "L112": ("this is a chart, and no list of charts", "write a list with the line  {found}  in it, or give a folder of charts"),
}  # fmt: skip
_TOKEN = re.compile(r'"([^"]*)"|\'([^\']*)\'|(\S+)')
_SETTING = re.compile(r"\s*([A-Za-z-]+):(\s.*)?$")


class Tune(NamedTuple):
    """A tune of a book: its chart, how it is played, the kinds of files that are made of it (None for those of the book).

    `name` is how its files are called: its chart's, with what its own line asks for. `place` is where the list names it.
    """

    path: Path
    wish: Options
    name: str
    heading: str = ""
    make: str | None = None
    place: tuple[Source, Span] | None = None


@dataclass(frozen=True, slots=True)
class Listing:
    """The tunes of a book in playing order."""

    title: str
    by: str
    tunes: tuple[Tune, ...]


def listing(path: Path, wish: Options, command: str = "book", apart: Path | None = None) -> Listing:
    """The tunes of a list or a folder, each with `wish` and what its line asks for on top; nothing below `apart`.

    Raises `ChartError` with every mistake of a list, `OutputError`.
    """
    if path.is_dir():
        return Listing(path.resolve().name, "", tuple(in_folder(path, wish, apart)))
    data = read_bytes(path)
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        raise OutputError(f"{path} is no list of charts: it is not UTF-8 text") from None
    return read_list(text, path, wish, command)


def is_list(path: Path) -> bool:
    """Whether a path that is given as a chart is a folder of charts, or a list: a text whose first line that says anything
    names a chart that is there, or whose name ends in `.list`.
    """
    if path.is_dir() or path.suffix.lower() == ".list":
        return True
    if path.suffix.lower() != ".txt" or not path.is_file():
        return False
    from backing.reading.opened import READABLE

    with path.open("rb") as file:
        lines = file.read(4000).decode("utf-8", "replace").splitlines()
    for line in lines:
        told = line.strip()
        if not told or told[0] in "#[" or _SETTING.match(line):
            continue
        word = _TOKEN.match(told)
        name = Path(next(filter(None, word.groups()), "")) if word else Path()
        return name.suffix.lower() in READABLE and (path.parent / name).is_file()
    return False


def in_folder(folder: Path, wish: Options, apart: Path | None) -> Iterator[Tune]:
    """Every chart below a folder, folders and names in their natural order. Raises `OutputError` where there is none."""
    from backing.reading.opened import READABLE

    readable = [ending for ending in READABLE if ending not in (".mid", ".midi")]
    skipped = apart.resolve() if apart else None
    found = [
        path
        for path in folder.rglob("*")
        if path.suffix.lower() in readable
        and not any(part.startswith(".") for part in path.relative_to(folder).parts)
        and (skipped is None or skipped not in path.resolve().parents)
        and path.is_file()
    ]
    if skipped is not None and skipped in (folder.resolve(), *folder.resolve().parents):
        raise OutputError(
            f"{folder} lies in the book {apart}; choose another folder for the book with -o"
        )
    if not found:
        raise OutputError(f"{folder} has no charts in it")
    for path in sorted(
        found, key=lambda p: [natural(part) for part in p.relative_to(folder).parts]
    ):
        yield Tune(path, wish, safe(path.stem), " – ".join(path.relative_to(folder).parts[:-1]))


def natural(name: str) -> list[tuple[int, int | str]]:
    """A key that sorts numbers as numbers and knows no capitals.

    >>> sorted(["b10", "B9", "a"], key=natural)
    ['a', 'B9', 'b10']
    """
    parts = re.split(r"(\d+)", name.casefold())
    return [(0, int(p)) if p.isdecimal() else (1, p) for p in parts if p]


def read_list(text: str, path: Path, wish: Options, command: str = "book") -> Listing:
    """The tunes of a list. Raises `ChartError` with every mistake."""
    reader = _Reader(Source(str(path), text), path.parent, wish, command)
    at = 0
    if music := re.search(r"^[ \t]*\|", text, re.M):
        reader.fault("L112", Span(music.end() - 1, music.end()), found=path.name)
        raise ChartError(reader.faults)
    for line in text.split("\n"):
        reader.line(line, at)
        at += len(line) + 1
    if not reader.tunes and not reader.faults:
        reader.fault("L110", Span(0, 1))
    if reader.faults:
        raise ChartError(reader.faults)
    return Listing(
        reader.settings.get("title", path.stem), reader.settings.get("by", ""), tuple(reader.tunes)
    )


class _Reader:
    """Reads a list line by line and gathers what is wrong."""

    def __init__(self, source: Source, folder: Path, wish: Options, command: str) -> None:
        self.source, self.folder, self.wish, self.command = source, folder, wish, command
        self.tunes: list[Tune] = []
        self.faults: list[Diagnostic] = []
        self.settings: dict[str, str] = {}
        self.heading = ""

    def fault(self, code: str, span: Span, **values: str) -> None:
        sentence, hint = CODES[code]
        told = sentence.format(**values), hint.format(**values)
        self.faults.append(Diagnostic(code, *told, span, self.source))

    def line(self, line: str, at: int) -> None:
        """One line that begins at character `at`."""
        told = line.strip()
        start = at + len(line) - len(line.lstrip())
        span = Span(start, start + len(told))
        if not told or told.startswith("#"):
            return
        setting = _SETTING.match(line)
        if told.startswith("["):
            if not told.endswith("]"):
                self.fault("L106", span, found=told.strip("[]").strip() or "Slow tunes")
            self.heading = told.strip("[]").strip()
        elif setting:
            self.setting(setting[1].lower(), (setting[2] or "").strip(), span)
        else:
            self.tune(self.words(line, at), span)

    def setting(self, name: str, value: str, span: Span) -> None:
        if name not in SETTINGS:
            self.fault("L107", Span(span.start, span.start + len(name)), found=name)
        elif self.tunes:
            self.fault("L108", span)
        else:
            self.settings[name] = value

    def words(self, line: str, at: int) -> list[tuple[str, Span]]:
        """The words of a line with their places, up to a comment."""
        found = []
        for word in _TOKEN.finditer(line):
            text = next(part for part in word.groups() if part is not None)
            if text == "#":
                break
            span = Span(at + word.start(), at + word.end())
            if word[3] and text[0] in "\"'":
                self.fault("L109", span)
                return []
            found.append((text, span))
        return found

    def tune(self, words: Sequence[tuple[str, Span]], span: Span) -> None:
        """A line with a chart."""
        if not words:
            return
        (name, place), rest = words[0], words[1:]
        if name.startswith("-"):
            self.fault("L105", place, found=name)
            return
        before = len(self.faults)
        typed, make = self.options(rest)
        wish = self.wish
        try:
            wish = over(self.wish, typed, self.command)
        except RequestError as wrong:
            whole = Span(rest[0][1].start, rest[-1][1].end)
            self.fault("L103", whole, message=str(wrong), hint="take one of them away")
        if len(self.faults) == before:
            path = self.folder / name
            called = file_stem(path.stem, over(Options(), typed, self.command))
            self.tunes.append(Tune(path, wish, called, self.heading, make, (self.source, place)))

    def options(self, words: Sequence[tuple[str, Span]]) -> tuple[dict[str, object], str | None]:
        """The options behind a chart as they are typed, and the kinds of files where they are named."""
        typed: dict[str, object] = {}
        make: str | None = None
        waiting = list(words)
        while waiting:
            word, span = waiting.pop(0)
            flag, equals, value = word.partition("=")
            option = BY_FLAG.get(flag)
            if not flag.startswith("--"):
                self.fault("L111", span, found=word)
                break
            if option is None and flag != "--make":
                hint = near(flag, list(BY_FLAG)).strip() or "`backing guide options` has them all"
                self.fault("L101", span, found=flag, hint=hint)
                if not equals and waiting and not waiting[0][0].startswith("--"):
                    waiting.pop(0)  # its value
            elif option is not None and isinstance(option.usual, bool):
                typed[option.name] = True
            elif not equals and (not waiting or waiting[0][0].startswith("--")):
                example = option.example if option else "mp3,mid"
                self.fault("L102", span, found=flag, example=example)
            else:
                if not equals:
                    value, span = waiting.pop(0)
                if option is None:
                    make = self.kinds(value, span)
                else:
                    self.typed(typed, option, value, span)
        return typed, make

    def kinds(self, value: str, span: Span) -> str | None:
        from backing.commands.book.choices import read_make

        try:
            return ",".join(read_make(value))
        except RequestError as wrong:
            self.fault("L103", span, message=str(wrong), hint="such as  --make mp3,mid")
        return None

    def typed(self, typed: dict[str, object], option: Option, value: str, span: Span) -> None:
        """Note an option that can be read."""
        own = [*(typed.get(option.name) or ()), value] if option.usual == () else value  # type: ignore[misc]
        try:
            over(self.wish, {option.name: own}, self.command)
        except RequestError as wrong:
            hint = f"such as  {option.flag} {option.example}"
            self.fault("L103", span, message=str(wrong), hint=hint)
        else:
            typed[option.name] = own


BY_FLAG = {option.flag: option for option in BY_NAME.values()}


def missing(tune: Tune) -> Diagnostic:
    """What is said of a chart that is not there, at its place in the list."""
    hint = near_file(tune.path).strip() or "mend its name, or take the line away"
    name = tune.path.name
    sentence, _ = CODES["L104"]
    source, span = tune.place or (Source(str(tune.path), ""), Span(0, 0))
    return Diagnostic("L104", sentence.format(found=name), hint, span, source)
