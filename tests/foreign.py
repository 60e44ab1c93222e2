"""Files of other formats for tests: what a reader makes of them, as the music lines of a chart."""

from __future__ import annotations

from backing.chart.ast import Chart
from backing.chart.parse import parse
from backing.chart.write import write
from backing.reading.asked import PLAIN, Reading
from backing.reading.opened import opened


def read(text: str | bytes, name: str, asked: Reading = PLAIN) -> Chart:
    """The chart of a file that may lack chords."""
    return opened(text.encode() if isinstance(text, str) else text, name, asked, wanted=True)


def music(chart: Chart) -> str:
    """The lines of music and those under it, with single blanks."""
    lines = [" ".join(line.split()) for line in write(chart).splitlines()]
    kinds = ("|", ":|", "melody:", "hits:", "kicks:", "words:", "[")
    return "\n".join(line for line in lines if line.startswith(kinds))


def settings(chart: Chart) -> dict[str, str]:
    """The settings of the head as typed."""
    return {w.name: w.value for w in chart.written}


def codes(chart: Chart) -> list[str]:
    """The codes of what was said, each once."""
    return list(dict.fromkeys(d.code for d in chart.warnings))


def cut_out(chart: Chart) -> list[str]:
    """The piece of the source that each written chord, and each note, points at."""
    text = chart.source.text
    spans = [s.span for sec in chart.sections for b in sec.bars for s in b.slots if not s.held]
    return [text[a:b] for a, b in spans]


def again(chart: Chart) -> Chart:
    """The chart as it is written and read again."""
    return parse(write(chart), wanted=True)
