"""The practice page: one HTML file that shows the chords, sounds, and needs no network.

Conventions: seconds count from the first sample of the sound, count-in included, as in the timeline file; `q` are
quarters from a bar line; a shift is semitones from the written key, -6 to 6. The click is not among the sounds: the
page strikes it itself, at any tempo. The page's parts lie in the folder of the same name; its scripts are ES modules
that are joined here in the order of `SCRIPTS`.
"""

from __future__ import annotations

import base64
import html
import json
import os
import re
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from subprocess import Popen
from tempfile import TemporaryDirectory
from typing import Any

from backing.chart.ast import Chart
from backing.ground.roles import role_of
from backing.output.asked import AS_USUAL, CONCERT, Paper, Sound
from backing.output.files import MARK, claim, write_bytes
from backing.output.page import opus, still
from backing.output.page.data import page_data
from backing.output.policy import hash_of
from backing.output.sound.audio import Output, write_outputs
from backing.performance.model import Performance

PARTS = Path(__file__).parent / "web"
SCRIPTS = (
    "time.js", "workers.js", "sound.js", "settings.js", "speak.js", "type.js", "staff.js", "tab.js", "grips.js", "rows.js",
    "line.js", "form.js", "pick.js", "sheet.js", "controls.js", "keyboard.js", "transport.js", "main.js",
)  # fmt: skip
WORKER = ("slices.js", "resample.js", "studio.js")
MUSIC = Path(__file__).parent.parent / "fonts" / "NotoMusic-Regular.ttf"  # the sheet's own
STRETCH = "vendor/signalsmith-stretch-1.3.2.mjs"
DECODER = "vendor/opus-decoder-0.7.12.min.js"
STRETCH_ENDS = "function registerWorkletProcessor"  # what follows is for another use of the library

# kbit/s a player: what keeps cymbals and strings clean, and all together three minutes in less than 8 MB.
KBPS = {"drums": 56, "percussion": 48, "bass": 36}
USUAL_KBPS = 48
MONO = ("bass",)  # it stands in the middle, and one channel is stretched in half the time
MOST_KBPS = 228
Progress = Callable[[float, str], None]
Stems = Mapping[str, Path]


def silent(share: float, words: str) -> None:
    """No progress is shown."""


def write(
    performance: Performance,
    chart: Chart,
    path: str | os.PathLike[str],
    *,
    stems: Stems | None = None,
    sound: Sound = AS_USUAL,
    paper: Paper = CONCERT,
    force: bool = False,
    progress: Progress = silent,
) -> Path:
    """Write the page. `stems` are sound files by role, from the first sample of the tune; without them they are rendered.

    Raises `OutputError`, `AudioUnavailable`.
    """
    target = Path(path)
    claim(target, force=force)
    if stems is not None:
        sounds = encoded(stems)
    else:
        with TemporaryDirectory(prefix="backing-") as folder:
            rendered = {r: Path(folder) / f"{r}.wav" for r in sounding(performance)}
            write_outputs(
                performance,
                [Output(p, frozenset({r})) for r, p in rendered.items()],
                sound,
                force=True,
                progress=lambda share, words: progress(0.8 * share, words),
            )
            sounds = encoded(rendered)
    progress(0.95, "writing")
    data = page_data(performance, chart, sounds, paper, sound.levels)
    write_bytes(target, text(data, sounds).encode(), force=force)
    progress(1.0, "done")
    return target


def sounding(performance: Performance) -> list[str]:
    """The players whose sound is in the page: all but the click."""
    return [p.role for p in performance.players if p.voices and p.role != "click"]


def encoded(stems: Stems) -> dict[str, opus.Packets]:
    """Every stem as packets, several at a time; an interruption ends their encoders too."""
    running: list[Popen[bytes]] = []
    wanted = {role: KBPS.get(role_of(role).name, USUAL_KBPS) for role in stems}
    scale = min(1.0, MOST_KBPS / max(1, sum(wanted.values())))

    def one(role: str) -> opus.Packets:
        kbps = round(wanted[role] * scale)
        return opus.encode(Path(stems[role]), kbps, mono=role in MONO, begun=running.append)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        try:
            return dict(zip(stems, pool.map(one, stems), strict=True))
        except BaseException:
            for process in running:
                process.kill()
            raise


def text(data: Mapping[str, Any], sounds: Mapping[str, opus.Packets]) -> str:
    """The page as one text."""
    style = _read("page.css").replace("{{fonts}}", _fonts())
    script = script_safe(joined([_read(name) for name in SCRIPTS]))
    fill = {
        "mark": MARK,
        "policy": policy(style, script),
        **{name: html.escape(str(data[name])) for name in ("title", "by", "notes", "language")},
        "line": html.escape(still.line_of(data)),
        "hint": still.HINT,
        "chords": still.chord_text(data),
        "style": style,
        "data": script_safe(json.dumps(data, ensure_ascii=False, separators=(",", ":"))),
        "stems": "\n".join(_stem(n, sound) for n, sound in enumerate(sounds.values())),
        "licences": script_safe(_read("vendor/LICENCES.txt")),
        "stretch": base64_of(stretch_library().encode()),
        "decoder": base64_of((PARTS / DECODER).read_bytes()),
        "studio": base64_of(joined([_read(name) for name in WORKER]).encode()),
        "script": script,
    }
    return re.sub(r"\{\{(\w+)\}\}", lambda found: fill[found[1]], _read("page.html"))


def policy(style: str, script: str) -> str:
    """What the page may do: its own style and script, its workers, nothing from elsewhere (CSP level 3, hashes)."""
    rules = (
        "default-src 'none'",
        f"script-src {hash_of(script)} 'wasm-unsafe-eval'",
        "worker-src blob:",
        f"style-src {hash_of(style)}",
        "font-src data:",
        "img-src data:",
        "base-uri 'none'",
        "form-action 'none'",
    )
    return "; ".join(rules)


def joined(modules: Sequence[str]) -> str:
    """ES modules as one: imports and the word `export` go, since all names share one scope."""
    whole = "\n".join(modules)
    whole = re.sub(r"^import\b[^;]*;\n?", "", whole, flags=re.M)
    whole = re.sub(r"^export (?=(?:async )?(?:function|const|class|let)\b)", "", whole, flags=re.M)
    return f'(() => {{\n"use strict";\n{whole}\n}})();'


def script_safe(text: str) -> str:
    """Text that no script element ends inside of (HTML standard, restrictions for contents of script elements)."""
    return re.sub(r"<(?=/script|!--|script)", r"\\u003c", text, flags=re.I)


def stretch_library() -> str:
    """The stretching library without its audio worklet, behind one name."""
    library = _read(STRETCH).split(STRETCH_ENDS)[0]
    return f"const SignalsmithStretch = (() => {{\n{library}\nreturn SignalsmithStretch;\n}})();"


def base64_of(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _stem(number: int, sound: opus.Packets) -> str:
    sizes = json.dumps([len(p) for p in sound.packets], separators=(",", ":"))
    return (
        f'<script type="text/plain" id="stem-{number}" data-sizes="{sizes}">'
        f"{base64_of(b''.join(sound.packets))}</script>"
    )


def _fonts() -> str:
    faces = (
        ("Chart", 400, "woff2", PARTS / "inter-regular.woff2"),
        ("Chart", 700, "woff2", PARTS / "inter-bold.woff2"),
        ("Signs", 400, "ttf", MUSIC),
    )
    kinds = {"woff2": "woff2", "ttf": "truetype"}
    return "\n".join(
        f"@font-face{{font-family:{family};font-weight:{weight};font-display:block;"
        f"src:url(data:font/{kind};base64,{base64_of(path.read_bytes())})format('{kinds[kind]}')}}"
        for family, weight, kind, path in faces
    )


def _read(name: str) -> str:
    return (PARTS / name).read_text(encoding="utf-8")
