"""Styles by name.

Loading one style parses its own file (and those it is like) and no other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar

from backing.ground.errors import RequestError
from backing.styles import shelf
from backing.styles.load import load
from backing.styles.model import Style

_LENT: ContextVar[Mapping[str, Style]] = ContextVar("_LENT")


@contextmanager
def lent(styles: Mapping[str, Style]) -> Iterator[None]:
    """Let `find` answer these names, or paths, with styles that were loaded elsewhere."""
    token = _LENT.set(styles)
    try:
        yield
    finally:
        _LENT.reset(token)


def find(name: str) -> Style:
    """A style by name, or by path where it ends in `.toml`; one that is lent first.

    Raises `RequestError` for a name that no folder has, `StyleError` for a file with mistakes, `OutputError` for a
    file that cannot be read.
    """
    if (style := _LENT.get({}).get(name)) is not None:
        return style
    path = shelf.file_of(name)
    if path is None:
        raise RequestError("; ".join(_unknown(name)))
    return load(path)


def unknown(name: str) -> tuple[str, str] | None:
    """What to say of a name that no folder has, as a sentence and a hint; None for a style and for any path."""
    return None if shelf.file_of(name) else _unknown(name)


def _unknown(name: str) -> tuple[str, str]:
    near = shelf.nearest_name(name)
    fit = matching(name)
    if len(fit) > 1:
        hint = f"'{name}' may be any of these, write one of them: {', '.join(fit)}"
    elif fit or near:
        hint = f"did you mean '{fit[0] if fit else near}'?"
    else:
        hint = "`backing styles` lists them"
    return f"there is no style '{name}'", hint


def matching(word: str) -> tuple[str, ...]:
    """The names of the styles that a word fits, by name, by what they are or by a meter."""
    from backing.styles.kinds import called

    return called(word, dict(map(shelf.told, shelf.paths())))


def styles() -> tuple[Style, ...]:
    """Every style that can be named, by meter, then subdivision, then name."""
    return tuple(sorted((load(path) for path in shelf.paths()), key=order))


def names() -> tuple[str, ...]:
    """The names of `styles()`, in its order."""
    return tuple(style.name for style in styles())


def order(style: Style) -> tuple[object, ...]:
    """Where a style stands in lists: the usual meters first, then by subdivision, straight before swung."""
    meter = style.meters[0]
    usual = ("4/4", "2/4", "2/2", "3/4", "6/8", "9/8", "12/8")
    odd = meter.counted_in_eighths or meter.name not in usual
    place = (meter.unit, meter.count) if odd else (usual.index(meter.name), 0)
    ratio = style.feel.ratio
    feel = 0 if style.feel.straight else 2 if ratio == 2 else 1
    return (odd, place, meter.groups, -style.grid_q, feel, style.name.lower())
