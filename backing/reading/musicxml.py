"""MusicXML lead sheets, plain or packed: bytes to a chart.

Conventions: of several parts the one with the chords is read, else the first; of several voices the top one. What other
programs cannot say of a chart stands in `miscellaneous-field`s whose names begin with `backing-`; a file with them is
read exactly (a bar without a chord holds the one before). *Source*: MusicXML 4.0 (W3C Community Group report).
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections import Counter

from backing.chart.ast import Chart
from backing.ground.source import Source, Span
from backing.reading.findings import Findings
from backing.reading.lay import chart_of
from backing.reading.lead import Lead, Set
from backing.reading.musicxml_fields import Fields
from backing.reading.musicxml_part import Part
from backing.reading.xml_tree import Node, span_of, walk

MOST = 30_000_000  # bytes, unpacked
OURS = "backing-"
# what stands in a measure and says nothing here
SILENT = frozenset({
    "type", "dot", "accidental", "time-modification", "stem", "beam", "tied", "tuplet", "slur", "articulations", "ornaments",
    "technical", "clef", "staff-details", "system-layout", "staff-layout", "page-layout", "inversion",
    "midi-instrument", "level", "footnote",
})  # fmt: skip
_HEAD = ("work", "movement-title", "identification")


def read(data: bytes, name: str) -> Chart:
    """The chart of a file. Raises `ChartError`."""
    text, name = _unpacked(data, name)
    findings = Findings(Source(name, text, foreign=True))
    return chart_of(_Score(findings).lead(), findings)


def _unpacked(data: bytes, name: str) -> tuple[str, str]:
    """The text of the score, and its name inside of a packed file."""
    findings = Findings(Source(name, "", foreign=True))
    if data.startswith(b"PK"):
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as packed:
                inner = _root_file(packed)
                if packed.getinfo(inner).file_size > MOST:
                    raise findings.refuse("E704", Span(0, 0), most="30 MB unpacked")
                with packed.open(inner) as file:
                    data = file.read(MOST + 1)
        except (zipfile.BadZipFile, KeyError, OSError, EOFError, ValueError, NotImplementedError, RuntimeError, zlib.error) as wrong:  # fmt: skip
            raise findings.refuse(
                "E701", Span(0, 0), what="this packed file", why=f"it is damaged ({type(wrong).__name__})",
                hint="export it again, without packing",
            ) from None  # fmt: skip
        name = f"{name}/{inner}"
    if len(data) > MOST:
        raise findings.refuse("E704", Span(0, 0), most="30 MB unpacked")
    return _decoded(data, findings), name


def _root_file(packed: zipfile.ZipFile) -> str:
    """The score that the container names, else the first that looks like one."""
    names = packed.namelist()
    if (
        "META-INF/container.xml" in names
        and packed.getinfo("META-INF/container.xml").file_size < 100_000
    ):
        container = packed.read("META-INF/container.xml").decode("utf-8", "replace")
        found = re.search(r"full-path\s*=\s*[\"']([^\"']+)[\"']", container)
        if found and found[1] in names:
            return found[1]
    scores = [
        n
        for n in names
        if n.lower().endswith((".xml", ".musicxml")) and not n.startswith("META-INF")
    ]
    if not scores:
        raise KeyError("no score")
    return scores[0]


def _decoded(data: bytes, findings: Findings) -> str:
    encoding = "utf-8-sig"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    else:
        declared = re.match(
            rb"\s*<\?xml[^>]*?encoding\s*=\s*[\"']([A-Za-z0-9._-]{1,40})[\"']", data
        )
        if declared and declared[1].lower() not in (b"utf-8", b"utf8"):
            encoding = declared[1].decode("ascii")
    try:
        text = data.decode(encoding)
    except (UnicodeDecodeError, LookupError):
        raise findings.refuse(
            "E701", Span(0, 0), what="this file", why=f"it is no text in {encoding.removesuffix('-sig')}",
            hint="export it again in UTF-8",
        ) from None  # fmt: skip
    return text.replace("\r\n", "\n").replace("\r", "\n")


class _Score:
    """Chooses a part and reads it."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self.text = findings.source.text
        self.settings: list[Set] = []
        self.fields = Fields(findings)
        self.names: dict[str, str] = {}  # of the parts

    def lead(self) -> Lead:
        if "<score-timewise" in self.text[:20_000]:
            raise self.findings.refuse(
                "E701", Span(0, 0), what="this score", why="its parts stand inside of its measures",
                hint="export it as score-partwise, which is usual",
            )  # fmt: skip
        part, parts, harmonies = self._read(None)
        if not parts:
            raise self.findings.refuse(
                "E701", Span(0, 0), what="this file", why="it is no MusicXML score",
                hint="a score begins with <score-partwise>",
            )  # fmt: skip
        chosen = parts[0]
        if not harmonies[chosen] and harmonies:
            chosen = max(parts, key=lambda p: harmonies[p])
            self.settings, self.fields = [], Fields(self.findings)
            part, _, _ = self._read(chosen)
        if len(parts) > 1:
            which = f"part {self.names.get(chosen) or chosen}"
            self.findings.add(
                "W707", Span(0, 0), count=len(parts), kinds="parts", which=which, hint=""
            )
        lead = Lead(exact=self.fields.ours)
        lead.settings = self.settings
        lead.measures = part.finish()
        self.fields.apply(lead)
        return lead

    def _read(self, chosen: str | None) -> tuple[Part, list[str], Counter[str]]:
        """Read the head and one part, the first where none is chosen; count the chords of all."""
        part = Part(self.findings, self.fields, self.settings)
        parts: list[str] = []
        harmonies: Counter[str] = Counter()

        def is_wanted(name: str, attributes: dict[str, str]) -> bool:
            if name == "part":
                parts.append(attributes.get("id", ""))
            return (
                (name == "measure" and parts[-1:] == [chosen or parts[0]])
                if parts
                else name in (*_HEAD, "score-part")
            )

        def take(node: Node) -> None:
            if node.name == "measure":
                harmonies[parts[-1]] += sum(1 for _ in node.all("harmony"))
                part.measure(node)
            else:
                self._head(node)

        def seen(name: str, _: dict[str, str]) -> None:
            if name == "harmony" and parts:
                harmonies[parts[-1]] += 1

        walk(self.text, self.findings, is_wanted, take, seen, SILENT)
        return part, parts, harmonies

    def _head(self, node: Node) -> None:
        if node.name == "work":
            self._set("title", node.value("work-title"), node)
        elif node.name == "movement-title":
            self._set("title", node.text, node)
        elif node.name == "score-part":
            self.names[node.get("id")] = " ".join(node.value("part-name").split())
        else:
            for creator in node.all("creator"):
                if creator.get("type", "composer") == "composer":
                    self._set("by", creator.text, creator)
            self.fields.read(node)

    def _set(self, name: str, value: str, node: Node) -> None:
        if value.strip() and all(s.name != name for s in self.settings):
            self.settings.append(Set(name, value, span_of(node)))
