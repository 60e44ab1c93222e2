"""XML with places: the elements that are asked for, each with the line and column where it begins.

Conventions: `at` counts characters of the text. A DOCTYPE may stand; an entity of its own may not, for one that names
itself would fill the memory. *Source*: `xml.parsers.expat`, the one parser of the standard library that knows places.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from xml.parsers import expat

from backing.ground.source import Span
from backing.reading.findings import Findings

MOST_DEEP = 60


_NONE: tuple[Node, ...] = ()  # shared, since most elements hold text alone


class Node:
    """An element with what it holds, or else its text."""

    __slots__ = ("at", "attributes", "children", "end", "name", "text")

    def __init__(self, name: str, attributes: dict[str, str], at: int) -> None:
        self.name = name
        self.attributes = attributes
        self.at = self.end = at
        self.children: Sequence[Node] = _NONE
        self.text = ""

    def child(self, name: str) -> Node | None:
        """The first child of that name."""
        for one in self.children:
            if one.name == name:
                return one
        return None

    def all(self, name: str) -> Iterator[Node]:
        """Every child of that name."""
        return (one for one in self.children if one.name == name)

    def value(self, name: str, usual: str = "") -> str:
        """The text of the first child of that name."""
        found = self.child(name)
        return found.text.strip() if found is not None else usual

    def get(self, name: str, usual: str = "") -> str:
        return self.attributes.get(name, usual)

    def within(self, name: str) -> Iterator[Node]:
        """Every element of that name inside of this one."""
        for one in self.children:
            if one.name == name:
                yield one
            yield from one.within(name)


class Refused(Exception):
    """What the document does that is not allowed; never leaves this package."""


def walk(
    text: str,
    findings: Findings,
    wanted: Callable[[str, dict[str, str]], bool],
    take: Callable[[Node], None],
    seen: Callable[[str, dict[str, str]], None] = lambda name, attributes: None,
    ignored: frozenset[str] = frozenset(),
) -> None:
    """Call `take` with every outermost element that is `wanted`, and `seen` with every other.

    An element is whole but for those inside of it that are `ignored`, with all that they hold.

    Raises `ChartError` where the text is no XML.
    """
    data = text.encode("utf-8", "replace")
    place = _places(text, data)
    tree = _Walk(wanted, take, seen, ignored, place)
    try:
        tree.parser.Parse(data, True)
    except expat.ExpatError as wrong:
        at, why = tree.parser.ErrorByteIndex, expat.errors.messages.get(wrong.code, "it is broken")
        why = f"{why} (as XML)"
    except Refused as wrong:
        at, why = tree.parser.CurrentByteIndex, str(wrong)
    else:
        return
    span = Span(place(at), place(at) + 1)
    raise findings.refuse("E701", span, what="this file", why=why, hint="export it again")


class _Walk:
    """The parser with the elements that are open."""

    def __init__(
        self,
        wanted: Callable[[str, dict[str, str]], bool],
        take: Callable[[Node], None],
        seen: Callable[[str, dict[str, str]], None],
        ignored: frozenset[str],
        place: Callable[[int], int],
    ) -> None:
        self.wanted, self.take, self.seen = wanted, take, seen
        self.ignored, self.place = ignored, place
        self.stack: list[Node] = []
        self.depth = self.inside = 0  # elements that are open, and of them from an ignored one on
        self.pieces: list[str] = []  # of the text since the last tag
        self.parser = parser = expat.ParserCreate("utf-8")
        parser.buffer_text = True
        parser.StartElementHandler, parser.EndElementHandler = self.start, self.end
        parser.CharacterDataHandler, parser.EntityDeclHandler = self.pieces.append, self.entity
        parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        self.depth += 1
        if self.inside or (self.stack and name in self.ignored):
            self.inside += 1
            return
        if self.depth > MOST_DEEP:
            raise Refused("elements stand inside each other more than sixty times")
        if self.stack:
            self.pieces.clear()
            node = Node(name, attributes, self.parser.CurrentByteIndex)
            above = self.stack[-1]
            if above.children is _NONE:
                above.children = [node]
            else:
                above.children.append(node)  # type: ignore[attr-defined]
            self.stack.append(node)
        elif self.wanted(name, attributes):
            self.pieces.clear()
            self.stack.append(Node(name, attributes, self.parser.CurrentByteIndex))
        else:
            self.seen(name, attributes)

    def end(self, name: str) -> None:
        """An element ends; an outermost one is taken."""
        self.depth -= 1
        if self.inside:
            self.inside -= 1
            self.pieces.clear()
        elif self.stack:
            node = self.stack.pop()
            node.end = self.parser.CurrentByteIndex
            if node.children is _NONE:
                node.text = "".join(self.pieces)
            self.pieces.clear()
            if not self.stack:
                self.take(_placed(node, self.place))

    def entity(self, *_: object) -> None:
        """The document declares an entity."""
        raise Refused("it declares an entity of its own")


def _placed(node: Node, place: Callable[[int], int]) -> Node:
    if place is not _same:
        waiting = [node]
        while waiting:
            one = waiting.pop()
            one.at, one.end = place(one.at), place(one.end)
            waiting += one.children
    return node


def _same(at: int) -> int:
    return at


def _places(text: str, data: bytes) -> Callable[[int], int]:
    """From a byte to its character."""
    if len(text) == len(data):
        return _same
    starts, more, extra = [0], [0], 0
    for found in re.finditer(r"[^\x00-\x7f]", text):
        extra += len(found[0].encode("utf-8", "replace")) - 1
        starts.append(found.end() + extra)
        more.append(extra)
    return lambda at: at - more[bisect_right(starts, at) - 1]


def span_of(node: Node) -> Span:
    """The element from its first character to its end tag."""
    return Span(node.at, max(node.end, node.at + 1))
