"""The picture of the desk in the README.

    python -m tests.desk_picture

Writes `demo/desk.png`. Needs Chromium on the PATH and Pillow.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from tests.desks import desk

ROOT = Path(__file__).parent.parent
WIDTH, HEIGHT = 1280, 800
COLOURS = 32
SEEN = "window.desk && [document.body.dataset.seen, document.body.dataset.drawn].every((one) => one === String(desk.revision)) && desk.words"


def main(chart: str = "songbird.txt") -> None:
    """A demo chart with the cursor in a bar of it."""
    from PIL import Image

    sys.path.insert(0, str(ROOT / "tests"))
    from browser import browser

    target = ROOT / "demo" / "desk.png"
    with tempfile.TemporaryDirectory() as folder:
        shutil.copy(ROOT / "demo" / chart, folder)
        with desk(Path(folder)) as one, browser() as page:
            page.size(WIDTH, HEIGHT)
            page.visit(one.address)
            page.wait(SEEN)
            page.run("(desk.editor.go(desk.editor.text.indexOf('Db9') + 1), true)")
            page.wait("document.querySelector('#said .grip')")
            page.run("document.fonts.ready.then(() => true)")
            page.picture(target)
    with Image.open(target) as picture:
        few = picture.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
        few.save(target, optimize=True)


if __name__ == "__main__":
    main()
