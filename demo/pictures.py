"""The pictures in the README: a sheet and a practice page of a demo chart.

    python demo/pictures.py

Writes `sheet.png` and `page.png` beside this file. Needs Chromium on the PATH for the page.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

from backing.commands.app import make
from backing.commands.options import Options

HERE = Path(__file__).parent
WIDTH, HEIGHT = 1280, 800
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


def sheet(chart: Path, target: Path) -> None:
    """The upper part of a printed sheet, at half the size of print."""
    from PIL import Image

    with tempfile.TemporaryDirectory() as folder:
        (page, *_) = make(chart, [Path(folder) / "sheet.png"], Options())
        with Image.open(page) as picture:
            part = picture.convert("L").crop((0, 0, picture.width, picture.height * 5 // 8))
            part.resize((part.width // 2, part.height // 2), Image.Resampling.LANCZOS).save(
                target, optimize=True
            )


def page(chart: Path, target: Path) -> None:
    """The practice page as it opens."""
    browser = shutil.which("chromium")
    if browser is None:
        raise SystemExit("chromium is not on the PATH")
    with tempfile.TemporaryDirectory() as folder:
        (written,) = make(chart, [Path(folder) / "page.html"], Options())
        subprocess.run(
            [
                browser, *FLAGS, f"--user-data-dir={folder}/profile", f"--window-size={WIDTH},{HEIGHT}",
                "--virtual-time-budget=4000", f"--screenshot={target}", written.as_uri(),
            ],
            check=True,
            capture_output=True,
        )  # fmt: skip


if __name__ == "__main__":
    sheet(HERE / "ferry.txt", HERE / "sheet.png")
    page(HERE / "songbird.txt", HERE / "page.png")
