"""The faces that a sheet is set in: which there are, what each can draw, and how wide its characters are.

Conventions: advance widths are in em and come from the font files themselves, so what is planned is what is drawn.
What the first face lacks is drawn by the next that has it, in the order of `FAMILIES`; fonts of the system never
serve, so that a sheet is the same on every machine. Chinese, Japanese and Korean need a package of their own (the
extra `cjk`), since their fonts are forty times as big as all others together.
Sources: OpenType 1.9, tables cmap (formats 4 and 12), head, hhea and hmtx, and collections (`ttcf`); Unicode, default
ignorable characters.
"""

from __future__ import annotations

import importlib.util
import struct
import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

FONTS = Path(__file__).parent.parent / "fonts"
REGULAR, MEDIUM, BOLD, ITALIC, MUSIC = range(5)
FILES = (
    "Inter-Regular.otf",
    "Inter-Medium.otf",
    "Inter-Bold.otf",
    "Inter-Italic.otf",
    "NotoMusic-Regular.ttf",
)
# family, file of its regular face (its bold one is as wide, near enough to plan with)
SCRIPTS = (
    ("Inter Greek", "InterGreek-Regular.ttf"),
    ("Noto Sans Hebrew", "NotoSansHebrew-Regular.ttf"),
    ("Noto Sans Arabic", "NotoSansArabic-Regular.ttf"),
    ("Noto Sans Thai", "NotoSansThai-Regular.ttf"),
)
CJK_PACKAGE = "manimgx_fonts_cjk"
CJK_EXTRA = "pip install 'backing[cjk]'"
_CJK_FILE = "NotoSansCJK-VF.otf.ttc"
_HANGUL = (("ᄀ", "ᇿ"), ("㄰", "㆏"), ("가", "힣"))
_KANA = (("぀", "ヿ"), ("ㇰ", "ㇿ"), ("ｦ", "ﾟ"))


def families(text: str) -> list[str]:
    """The families to try, first to last, for a sheet that holds `text`."""
    found = ["Inter", *(family for family, _ in SCRIPTS), "Noto Music"]
    if cjk_font() is not None:
        found.append(f"Noto Sans CJK {writing(text)}")
    return found


def writing(text: str) -> str:
    """Whose shapes the signs that China, Japan and Korea share are to have: `JP`, `KR` or `SC`."""
    if _any(text, _HANGUL):
        return "KR"
    return "JP" if _any(text, _KANA) else "SC"


def _any(text: str, ranges: Iterable[tuple[str, str]]) -> bool:
    return any(first <= c <= last for c in text for first, last in ranges)


def folders() -> list[Path]:
    """Where the font files lie."""
    font = cjk_font()
    return [FONTS] if font is None else [FONTS, font.parent]


@lru_cache(maxsize=1)
def cjk_font() -> Path | None:
    """The font for Chinese, Japanese and Korean, where its package is installed."""
    spec = importlib.util.find_spec(CJK_PACKAGE)
    for folder in (spec.submodule_search_locations or ()) if spec else ():
        path = Path(folder) / _CJK_FILE
        if path.is_file():
            return path
    return None


def missing(text: str) -> list[str]:
    """The characters of a text that no face here can draw, each once, in order."""
    return [c for c in dict.fromkeys(text) if not drawn(c)]


def drawn(char: str) -> bool:
    """Whether some face here can draw a character, or nothing is to be drawn for it."""
    if char in advances(REGULAR) or char in advances(MUSIC) or char in of_scripts():
        return True
    if char.isspace() or unicodedata.category(char) in ("Cc", "Cf"):
        return True
    return char in of_cjk()


def shown(text: str) -> str:
    """The text with a question mark for each character that no face here can draw."""
    if text.isascii():
        return text
    return "".join(c if drawn(c) else "?" for c in text)


def width(text: str, face: int, size: float = 1.0) -> float:
    """Advance width of a run of text without kerning."""
    table = advances(face)
    return size * sum([table.get(c) or absent(c) for c in text])


def absent(char: str) -> float:
    """The room for a character that the face lacks, in em."""
    found = of_scripts().get(char)
    if found is not None:
        return found
    if unicodedata.category(char) in ("Mn", "Me", "Cf"):
        return 0.0
    return 1.0 if unicodedata.east_asian_width(char) in "WF" else 0.65


@lru_cache(maxsize=1)
def of_scripts() -> dict[str, float]:
    """Advance widths of what the faces for other scripts have."""
    found: dict[str, float] = {}
    for _, file in reversed(SCRIPTS):
        found.update(_advances(FONTS / file))
    return found


@lru_cache(maxsize=1)
def of_cjk() -> frozenset[str]:
    """The characters of the font for Chinese, Japanese and Korean."""
    path = cjk_font()
    if path is None:
        return frozenset()
    data = path.read_bytes()
    return frozenset(map(chr, glyphs(data, _tables(data)[b"cmap"])))


@lru_cache(maxsize=8)
def advances(face: int) -> dict[str, float]:
    """Advance width of every character of a face, in em."""
    return _advances(FONTS / FILES[face])


def _advances(path: Path) -> dict[str, float]:
    data = path.read_bytes()
    tables = _tables(data)
    em = struct.unpack_from(">H", data, tables[b"head"] + 18)[0]
    metrics = struct.unpack_from(">H", data, tables[b"hhea"] + 34)[0]
    widths = struct.unpack_from(f">{metrics * 2}H", data, tables[b"hmtx"])[::2]
    return {
        chr(code): widths[min(glyph, metrics - 1)] / em
        for code, glyph in glyphs(data, tables[b"cmap"]).items()
    }


def _tables(data: bytes) -> dict[bytes, int]:
    """Where each table of a font begins; of a collection, of its first font."""
    start = struct.unpack_from(">I", data, 12)[0] if data[:4] == b"ttcf" else 0
    count = struct.unpack_from(">H", data, start + 4)[0]
    return {
        data[at : at + 4]: struct.unpack_from(">I", data, at + 8)[0]
        for at in range(start + 12, start + 12 + 16 * count, 16)
    }


def glyphs(data: bytes, at: int) -> dict[int, int]:
    """Character codes and their glyphs from the Unicode tables of a cmap."""
    found: dict[int, int] = {}
    for i in range(struct.unpack_from(">H", data, at + 2)[0]):
        platform, _, offset = struct.unpack_from(">HHI", data, at + 4 + 8 * i)
        start = at + offset
        form = struct.unpack_from(">H", data, start)[0]
        if platform not in (0, 3):
            continue
        if form == 12:
            for g in range(struct.unpack_from(">I", data, start + 12)[0]):
                first, last, glyph = struct.unpack_from(">III", data, start + 16 + 12 * g)
                found.update({first + k: glyph + k for k in range(last - first + 1)})
        elif form == 4:
            found.update(segments(data, start))
    return found


def segments(data: bytes, start: int) -> dict[int, int]:
    """A cmap subtable of format 4."""
    n = struct.unpack_from(">H", data, start + 6)[0] // 2
    ends = struct.unpack_from(f">{n}H", data, start + 14)
    starts = struct.unpack_from(f">{n}H", data, start + 16 + 2 * n)
    deltas = struct.unpack_from(f">{n}H", data, start + 16 + 4 * n)
    ranges_at = start + 16 + 6 * n
    ranges = struct.unpack_from(f">{n}H", data, ranges_at)
    found: dict[int, int] = {}
    for i in range(n):
        for code in range(starts[i], min(ends[i], 0xFFFE) + 1):
            if ranges[i] == 0:
                glyph = (code + deltas[i]) & 0xFFFF
            else:
                place = ranges_at + 2 * i + ranges[i] + 2 * (code - starts[i])
                glyph = struct.unpack_from(">H", data, place)[0]
                glyph = (glyph + deltas[i]) & 0xFFFF if glyph else 0
            if glyph:
                found[code] = glyph
    return found


def right_to_left(text: str) -> bool:
    """Whether a text begins in a script that is written from right to left (Unicode bidi rules P2 and P3)."""
    for char in text:
        kind = unicodedata.bidirectional(char)
        if kind in ("R", "AL"):
            return True
        if kind == "L":
            return False
    return False


def has_right_to_left(text: str) -> bool:
    """Whether any of a text is written from right to left."""
    return not text.isascii() and any(unicodedata.bidirectional(c) in ("R", "AL") for c in text)
