"""The bars of a line of words with chords: which chords share a bar, where in it each begins, and the words under it.

*Conventions*: columns count characters of the line from 0. *Source*: common practice of typed song sheets.
"""

from __future__ import annotations

from collections.abc import Sequence

from backing.ground.timebase import Meter
from backing.reading.lead import Symbol
from backing.reading.words_lines import Kind, Over, Row

Bar = tuple[list[Symbol], str]


def bars_of(row: Row, words: str, meter: Meter, per_line: int | None) -> list[Bar]:
    """The bars of a line with the words under each."""
    groups: list[list[Over]] = []
    if row.barred:
        for chord in row.chords:
            if not groups or groups[-1][-1].bar != chord.bar:
                groups.append([])
            groups[-1].append(chord)
    elif per_line:
        groups = _spread(row.chords, max(len(words), row.chords[-1].column + 1), per_line)
    else:
        groups = [[c] for c in row.chords]
    exact = row.kind is Kind.BOTH  # a chord in the words stands where it was put
    starts = [g[0].column if g else None for g in groups]
    found = []
    for i, group in enumerate(groups):
        since = starts[i]
        until = next((s for s in starts[i + 1 :] if s is not None), None)
        text = "" if since is None else _sung(words, 0 if i == 0 else since, until, exact)
        found.append((_placed(group, meter), text))
    return found


def _spread(chords: Sequence[Over], width: int, bars: int) -> list[list[Over]]:
    """Chords in the bar over whose words they stand, each later one in a later bar where there is room."""
    groups: list[list[Over]] = [[] for _ in range(bars)]
    last = -1
    for i, chord in enumerate(chords):
        left = len(chords) - i - 1  # that still want a bar
        bar = min(chord.column * bars // width, bars - 1)
        if len(chords) <= bars:
            bar = min(max(bar, last + 1), bars - 1 - left)
        else:
            bar = i * bars // len(chords)
        groups[bar].append(chord)
        last = bar
    if not groups[0]:
        first = next(i for i, g in enumerate(groups) if g)
        groups[0], groups[first] = groups[first], []
    return groups


def _placed(group: Sequence[Over], meter: Meter) -> list[Symbol]:
    """The chords of a bar: by their beats where `/` fill it, else on beats, as equal as they can be."""
    beats = [chord.beats for chord in group]
    places, at = [], 0
    for i, own in enumerate(beats):
        places.append(at if sum(beats) == meter.beats else i * meter.beats // len(group))
        at += own
    if len(set(places)) < len(places):
        length = meter.length_q / len(group)
        return [Symbol(i * length, c.symbol, c.span) for i, c in enumerate(group)]
    return [Symbol(p * meter.beat_q, c.symbol, c.span) for p, c in zip(places, group, strict=True)]


def _between_words(words: str, at: int) -> int:
    """A place a letter away from the start or the end of a word is meant for the word, not for its letter."""
    if not 0 < at < len(words) or not (words[at - 1].isalpha() and words[at].isalpha()):
        return at
    if at < 2 or not words[at - 2].isalpha():
        return at - 1
    return at + 1 if at + 1 >= len(words) or not words[at + 1].isalpha() else at


def _sung(words: str, since: int, until: int | None, exact: bool) -> str:
    """The words from one column to another; a word that is cut goes on with a hyphen."""
    if not exact:
        since = _between_words(words, since)
        until = None if until is None else _between_words(words, until)
    text = words[since:until]
    cut = (
        until is not None
        and len(words) > until > 0
        and words[until - 1].isalpha()
        and words[until].isalpha()
    )
    return " ".join(text.replace("|", "/").split()) + "-" * cut
