"""What another format cannot hold of a chart, in words: nothing is left out silently."""

from __future__ import annotations

from collections.abc import Iterator

from backing.chart.ast import Chart


def marks(chart: Chart) -> Iterator[str]:
    """The marks of a chart that only its own language has."""
    bars = [b for s in chart.sections for b in s.bars]
    there = {
        "pushes": any(s.pushed for b in bars for s in b.slots),
        "stops": any(s.stop or s.ring for b in bars for s in b.slots),
        "hits": any(b.hits or b.kicks for b in bars),
    }
    return (name for name, found in there.items() if found)
