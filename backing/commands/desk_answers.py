"""Chords for the `?` places of a text, as the desk shows them: ranked, with reasons, each as changes of the text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from backing.harmonising.harmonise import Harmonisation
    from backing.harmonising.melody import Place

RESULTS = 6


def answers(
    text: str, name: str = "tune.txt", manner: str = "colourful", results: int = RESULTS
) -> dict[str, Any]:
    """The ranked answers. Raises `ChartError`, `RequestError`.

    Each has its chords with place and reasons, the lines of music as they would stand, and the whole text; `changes` are
    the places in the text (UTF-16 units) with what is written there and why.
    """
    from backing.chart.parse import parse
    from backing.commands.harmonise import Asked, key_words, music_lines, place, read_wishes
    from backing.desk.units import Units
    from backing.harmonising.fill import filled, task_of
    from backing.harmonising.harmonise import harmonise

    asked = Asked(manner=manner, results=results)
    wishes = read_wishes(asked)
    task = task_of(parse(text, name, wanted=True), wishes.every)
    units = Units.of(text)
    found = []
    for result in list(harmonise(task.melody, wishes, task.places))[:results]:
        whole = filled(task, result)
        written = changes(text, whole, [gap.span for gap in task.gaps], units)
        for change, gap in zip(written, task.gaps, strict=True):
            change["why"] = reasons(result, task.places[gap.first : gap.last])
        found.append(
            {
                "rank": result.rank,
                "key": result.key.name,
                "lines": music_lines(whole),
                "text": whole,
                "changes": written,
                "chords": [
                    {
                        "place": place(chord),
                        "symbol": chord.chord.symbol,
                        "why": [reason.words for reason in chord.why],
                    }
                    for chord in result.chords
                ],
            }
        )
    told = key_words(task) if task.melody.key is None else ()
    return {"answers": found, "assumed": [words.partition(" (--")[0] for words in told]}


def reasons(result: Harmonisation, places: Sequence[Place]) -> str:
    """Why the chords of a gap are as they are."""
    since, until = places[0].start_q, places[-1].end_q
    inside = [chord for chord in result.chords if since <= chord.place.start_q < until]
    told = [
        (chord.chord.symbol, "; ".join(reason.words for reason in chord.why)) for chord in inside
    ]
    return told[0][1] if len(told) == 1 else ". ".join(f"{symbol}: {why}" for symbol, why in told)


def changes(old: str, new: str, spans: list[Any], units: Any) -> list[dict[str, Any]]:
    """What stands in the new text where the spans stood in the old one, which is the same between them."""
    found = []
    at_old = at_new = 0
    for i, span in enumerate(spans):
        at_new += span.start - at_old
        after = old[span.end : spans[i + 1].start if i + 1 < len(spans) else len(old)]
        end = new.index(after, at_new) if after else len(new)
        if i + 1 == len(spans):
            end = len(new) - len(after)
        found.append(
            {
                "from": units.of_character(span.start),
                "to": units.of_character(span.end),
                "insert": new[at_new:end],
            }
        )
        at_old, at_new = span.end, end
    return found
