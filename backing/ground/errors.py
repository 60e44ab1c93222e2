"""The errors that this package raises.

    BackingError                 anything the user can mend; `exit_code` says how the command ends
    ├── ChartError        1      the chart has mistakes; carries every diagnostic
    ├── StyleError        1      a style file has mistakes; carries every diagnostic
    ├── RequestError      2      the chart is fine, what was asked of it is not (no such player, bar, section)
    ├── ArrangementError  1      a player cannot play its part (a fault of a style or of this package); names the bar
    └── OutputError       4      a file could not be read or written
        └── AudioUnavailable  3  no sound engine, soundfont or encoder

Library code raises these and never prints, exits or catches bare `Exception`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, ClassVar

if TYPE_CHECKING:
    from backing.ground.source import Diagnostic


class BackingError(Exception):
    """Root of all errors raised on purpose."""

    exit_code: ClassVar[int] = 1


class _Diagnosed(BackingError):
    def __init__(self, diagnostics: Sequence[Diagnostic]) -> None:
        self.diagnostics = tuple(diagnostics)
        super().__init__("\n".join(d.headline() for d in self.diagnostics))

    def __reduce__(self) -> tuple[type[_Diagnosed], tuple[tuple[Diagnostic, ...]]]:
        return type(self), (self.diagnostics,)  # so that it is whole in another process


class ChartError(_Diagnosed):
    """The chart cannot be played as typed; `diagnostics` holds every mistake found, in text order."""


class StyleError(_Diagnosed):
    """A style cannot be used; `diagnostics` holds every mistake found in its file."""


class RequestError(BackingError):
    """An option asks for something that this chart or style does not have."""

    exit_code = 2


class ArrangementError(BackingError):
    """What a player was going to play cannot be played; the message names player, bar and note."""


class OutputError(BackingError):
    """A file could not be read or written."""

    exit_code = 4


class AudioUnavailable(OutputError):
    """There is no sound engine, soundfont or encoder; the message says what to install."""

    exit_code = 3
