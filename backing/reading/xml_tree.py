"""XML with places: the elements that are asked for, each with the line and column where it begins.

Conventions: `at` counts characters of the text. A DOCTYPE may stand; an entity of its own may not, for one that names
itself would fill the memory. *Source*: `xml.parsers.expat`, the one parser of the standard library that knows places.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterator
from xml.parsers import expat

from backing.ground.source import Span
from backing.reading.findings import Findings

MOST_DEEP = 60


class Node:
    """An element with what it holds, or else its text."""

    __slots__ = ("at", "attributes", "children", "end", "name", "text")

    def __init__(self, name: str, attributes: dict[str, str], at: int) -> None:
        self.name = name
        self.attributes = attributes
        self.at = self.end = at
        self.children: list[Node] = []
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
    parser = expat.ParserCreate("utf-8")
    parser.buffer_text = True
    stack: list[Node] = []
    depth = inside = 0  # elements that are open, and those of them from an ignored one on
    pieces: list[str] = []  # of the text since the last tag

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal depth, inside
        pieces.clear()
        depth += 1
        if inside or (stack and name in ignored):
            inside += 1
            return
        if depth > MOST_DEEP:
            raise Refused("elements stand inside each other more than sixty times")
        if stack:
            node = Node(name, attributes, parser.CurrentByteIndex)
            stack[-1].children.append(node)
            stack.append(node)
        elif wanted(name, attributes):
            stack.append(Node(name, attributes, parser.CurrentByteIndex))
        else:
            seen(name, attributes)

    def end(name: str) -> None:
        nonlocal depth, inside
        depth -= 1
        if inside:
            inside -= 1
        elif stack:
            node = stack.pop()
            node.end = parser.CurrentByteIndex
            if not node.children:
                node.text = "".join(pieces)
            if not stack:
                take(_placed(node, place))
        pieces.clear()

    def entity(*_: object) -> None:
        raise Refused("it declares an entity of its own")

    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.CharacterDataHandler, parser.EntityDeclHandler = pieces.append, entity
    parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
    try:
        parser.Parse(data, True)
    except expat.ExpatError as wrong:
        at = place(parser.ErrorByteIndex)
        why = expat.errors.messages.get(wrong.code, "it is broken")
        raise findings.refuse(
            "E701",
            Span(at, at + 1),
            what="this file",
            why=f"{why} (as XML)",
            hint="export it again",
        ) from None
    except Refused as wrong:
        at = place(parser.CurrentByteIndex)
        raise findings.refuse(
            "E701", Span(at, at + 1), what="this file", why=str(wrong), hint="export it again"
        ) from None


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
