"""What tests share: folders of their own and the soundfont that comes with pip; a practice page, built once, and a browser.

The browser is started once, with that page in it.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from browser import Browser

    from tests.practice import Made


@pytest.fixture(autouse=True, scope="session")
def own_folders(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Nothing is noted down in the folders of whoever runs the tests (XDG base directories), and their choice not asked.

    Figures hold for one soundfont.
    """
    for kind in ("STATE", "CONFIG", "CACHE"):
        os.environ[f"XDG_{kind}_HOME"] = str(tmp_path_factory.mktemp(kind.lower()))
    os.environ["BACKING_SOUNDFONT"] = "default"


@pytest.fixture(autouse=True, scope="session")
def interruptible() -> None:
    """A shell starts what runs in the background deaf to Ctrl-C, and programs that tests start would inherit that."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The page of a tune whose sounds can be measured."""
    from tests.practice import build

    return build(tmp_path_factory.mktemp("page"))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Chromium, or the browser that PAGE_BROWSER names."""
    from tests.practice import chosen

    with chosen() as one:
        yield one


@pytest.fixture
def tab(chromium: Browser, made: Made) -> Iterator[Browser]:
    """The page as nobody has touched it; nothing may complain while it is used."""
    from tests.practice import opened

    yield from opened(chromium, made)
