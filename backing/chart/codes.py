"""Everything that can be wrong with a chart: one table of codes, sentences and hints, and the list that gathers them.

Conventions: E1 bars and time, E2 settings, E3 form, sections, repeats and directions, E4 lines under the music, E5 chord
symbols, E6 what comes to light when the order of play is worked out, E9 limits and the text as such; W is a warning and
never stops a track (W901 is for the sheet alone). E230, an unknown style, has the words of those who look for styles. A sentence says what was found and what
was expected; a hint can be typed. A code keeps its meaning for ever: new mistakes get new codes.
"""

from __future__ import annotations

from collections.abc import Iterable

from backing.ground.source import Diagnostic, Severity, Source, Span, nearest

# code: (sentence, hint)
CODES: dict[str, tuple[str, str]] = {
    # --- bars and time
    "E101": ("a line of music starts with a bar line, here it starts with {found}", "type  {example}"),
    "E102": ("a line of music ends with a bar line, here the last one is missing", "type  {example}"),
    "E103": ("this bar is empty", "{hint}"),
    "E104": ("this bar holds {count}, which do not divide {beats}", "{how}, for example  {example}"),
    "E105": ("with '/' every item is one beat: this bar holds {count}, expected {expected}", "{how}, for example  {example}"),
    "E106": ("brackets around a single item: is it one chord among several, or an optional one?", "type  {example}  without brackets, or leave it out"),
    "E107": ("there is nothing between these brackets", "write the chords that share the place, such as (F7 C7), or take the brackets away"),
    "E108": ("brackets stand in brackets more than twice", "a place can be divided twice: (F7 (C7 G7)); write smaller values in a melody, hits or kicks over more bars"),
    "E109": ("this bracket is not closed before the bar ends", "type ) after the last chord that shares the place"),
    "E110": ("a closing bracket without an opening one", "take it away, or type ( before the first chord that shares the place"),
    "E111": ("{found} fills a whole bar and stands alone in it", "give it a bar of its own:  | {found} |  or hold a chord with /"),
    "E112": ("{found} repeats what stands before, and this section holds {have} before it", "write {instead}"),
    "E113": ("{found} repeats a bar of {before}, and this bar is {here}", "write the chords, such as  | {here} C |"),
    "E114": ("a / holds what stands before it, and nothing does", "write {what} first"),
    "E115": ("a meter stands at the start of its bar, here it comes after {found}", "move {meter} to just after the bar line"),
    "E116": ("{found} is no meter that can be counted", "{hint}"),
    "E117": ("the groups {groups} make {total}, and the meter has {count}", "write groups that add up, such as {example}"),
    "E118": ("a < plays the chord after it early, and no chord follows it directly", "put it against the chord, such as {example}"),
    "E119": ("{found} stands after a chord and belongs to it", "put one of ! and = against the chord, such as C7!"),
    "E120": ("this text in quotes has no end", 'type " after the last word'),
    "E121": ("{found} is no sign for a beat", "{hint}"),
    "E122": ("{count} items share one place; at most {most} can", "spread them over more beats"),
    "E123": ("this line is neither a setting, a heading in [ ], nor music between bar lines", "{hint}"),
    "E124": ("this looks like the number of an ending without its dot", "type  |{number}."),
    "E125": ("endings are numbered upwards from 1, here stands {found}", "type  |1.  or  |1-3.  or  |last."),
    "E126": ("beat = beat stands in a bar with a new meter, and this bar has none", 'write the meter before it:  | 6/8 "beat = beat" C |'),
    "E127": ("the pickup is {pickup} and does not fit before a bar of {beats}", "write fewer beats than a bar has, such as  pickup: 1"),
    "E129": ("a meter stands without brackets at the start of its bar", "type  | {meter} C |"),
    "E131": ("{found} is no grip of a chord", "{hint}"),
    "E128": ("after the last bar line stands {found}, and only a comment may stand there", "{hint}"),
    # --- settings
    "E201": ("there is no setting named {name}", "{hint}"),
    "E202": ("the setting {name} has no value", "write  {example}"),
    "E203": ("{name} is set twice", "keep one of the two; the first is in line {line}"),
    "E204": ("{name} holds for the whole chart and stands under the heading [{section}]", "move the line above the first heading"),
    "E205": ("the setting {name} comes after music; settings stand directly under a heading", "{hint}"),
    "E210": ("{value} is no key", "{hint}"),
    "E211": ("{value} is no tempo", "{hint}"),
    "E212": ("a tempo of {value} is outside {low} to {high} beats a minute", "write  tempo: {example}"),
    "E213": ("{value} is no feel", "{hint}"),
    "E214": ("{value} is no choice for {name}", "{hint}"),
    "E215": ("{value} is no dynamic", "write pp, p, mp, mf, f or ff; p -> f grows over the section"),
    "E216": ("there is no player named {value}", "{hint}"),
    "E217": ("{name} is a whole number from {low} to {high}, here stands {value}", "write  {example}"),
    "E218": ("{value} is no ending", "{hint}"),
    "E219": ("{value} is no length for a pickup", "write how many counted beats:  pickup: {example}"),
    "E220": ("{value} is no level of a player", "{hint}"),
    "E221": ("{value} dB is outside {low} to {high} dB beside a player's usual level", "write  levels: {example}"),
    "E222": ("{player} has two levels here", "keep one of them, such as  levels: {example}"),
    "E224": ("{value} is no code of a language", "{hint}"),
    "E223": ("{value} is no tuning of a guitar", "{hint}"),
    "E226": ("{value} is no manner of a solo guitar", "{hint}"),
    "E230": ("{message}", "{hint}"),
    # --- form, sections, repeats, directions
    "E301": ("there is no music in this chart", "type chords between bar lines, such as  | C | F | G7 | C |"),
    "E302": ("this heading has no closing bracket", "type  [{name}]"),
    "E303": ("this heading has no name", "write a name, such as [A] or [Verse 2]"),
    "E304": ("a second section is named {name}; the first is in line {line}", "give it a name of its own, such as [{example}], or leave it empty to play the first again"),
    "E305": ("the section {name} holds no music, and none of that name comes before it", "{hint}"),
    "E306": ("only the name stands on the line of a heading", "{hint}"),
    "E307": ("the heading {name} plays a section again; settings under it would have no effect", "give it a name and bars of its own"),
    "E308": ("a name of a section cannot hold {found}", "write letters, digits, blanks and dashes, such as [Verse 2]"),
    "E310": ("the form names {name}, and there is no such section", "{hint}"),
    "E311": ("a form has one group in brackets, the chorus; here begins another", "write the repeated sections out"),
    "E312": ("this bracket of the form is not closed", "type ) after the last section of the chorus"),
    "E313": ("a closing bracket without an opening one", "type ( before the first section of the chorus"),
    "E314": ("the form is empty", "name the sections in the order of play, such as  form: {example}"),
    "E315": ("{found} is nothing that a form can hold", "{hint}"),
    "E316": ("x{count} is no number of times", "write x2 to x{most}"),
    "E317": ("{name} is moved by {count} semitones; at most 12 make sense", "write {name}+2 or {name}-3"),
    "E320": ("this repeat never closes", "type :| where it ends"),
    "E321": ("a repeat begins inside a repeat that is still open since line {line}", "close the first one with :| before this place"),
    "E322": ("{found} is no number of times to play a repeat", "write  :| x3  for three times in all (2 to {most})"),
    "E323": ("this repeat ends before any bar of its section", "move :| to the end of the bars that are repeated"),
    "E324": ("the ending {number} stands twice", "number the endings one after another: |1. and |2."),
    "E325": ("{found} is no way to count a repeat", "type  :| x{times}"),
    "E330": ("this direction stands without quotes", "{hint}"),
    "E331": ("{name} needs {marks}, and none is in this chart", "write {places}"),
    "E332": ("{name} stands twice, so the band would not know which one counts", "keep one of them; the first is in line {line}"),
    "E333": ("{name} directs the order of play, and so does the form of this chart", "keep one of the two: take away the form line or this direction"),
    "E334": ("{name} sends the band back to a Segno that comes later, so it would never end", 'put "Segno" before this place'),
    "E335": ("this To Coda jumps to a Coda that stands before it, so the band would go round for ever", 'put "Coda" after the bars that are left out'),
    "E336": ("{found} names no player who could rest", 'type  "tacet {example}"'),
    "E339": ("{found} is no place for a hand on the neck", 'type a fret from 1 to {most}, such as  "at 5"'),
    "E337": ("{found} gives no tempo that can be played", 'type  "{example}"'),
    "E338": ("a second {name} would send the band round for ever; only one jump back can stand in a chart", "write one of them as bars or as a repeat; the first is in line {line}"),
    # --- lines under the music
    "E401": ("a line of {name} stands under a line of music, and there is none above it", "move it under its bars"),
    "E402": ("this line of {name} has {count}, and the line of music above has {expected}", "{hint}"),
    "E403": ("there is a second line of {name} under these bars", "join the two lines"),
    "E404": ("{value} is no note", "{hint}"),
    "E405": ("{value} is no sign of a rhythm", "write x for a hit, / to hold it, r for a rest"),
    "E406": ("this bar of {name} is empty", "write r for a rest, or / to hold what sounds"),
    "E407": ("the note {value} has no octave", "write  {example}  (C4 is middle C)"),
    "E408": ("{value} is outside what can be played, C0 to G9", "write  {example}"),
    "E409": ("{found} has no place in a line of {name}", "{hint}"),
    "E410": ("a line of {name} starts and ends with a bar line", "type  {name}: {example}"),
    "E411": ("there are more than {most} lines of words under these bars", "write the further verses under a section of their own"),
    # --- chord symbols (the sentences and hints come from the reader of symbols)
    "E501": ("a symbol of {length} characters is longer than {most}", "write one chord; chords are parted by blanks"),
    "E502": ("N.C. means that no chord sounds; it takes no {found}", "write  N.C.  alone"),
    "E503": ("a chord is still to be found here", "type a chord such as  C  , or let  backing harmonise  find one for the melody"),
    "E504": ("there is a blank inside a chord symbol", "type  {example}"),
    "E542": ("{found} is no chord in {notation}", "{hint}"),
    "E543": ("{notation} count from a key, and none is written", "write one above the first heading, such as  key: G major"),
    # --- the order of play
    "E601": ("more than {most} bars would be played, which is the limit", "ask for fewer choruses or repeats"),
    "E602": ("no bar of this chart is ever played, for its endings leave nothing over", "begin the endings with  |1."),
    # --- limits, and the text as such
    "E901": ("a chart has at most {most} of text, this one has {count}", "split it into several charts"),
    "E902": ("a chart has at most {most} written bars; this is one more", "use repeats, or split it into several charts"),
    "E903": ("this is {what}, not a chart in plain text", "save it as plain text in UTF-8, with the ending .txt"),
    "E904": ("{found} cannot stand in a chart", "delete it"),
    "E905": ("an invisible character stands here: {found}", "delete it and type the word again"),
    "E906": ("there are more than {most} mistakes; what follows was not checked", "mend these first"),
    "E908": ("the value of {name} has {length} characters; {most} are enough for any", "write  {example}"),
    "E907": ("a form has at most {most} playings", "use x3 after the chorus, or choruses"),
    # --- warnings
    "W101": ("{found} is not the character of a keyboard and was read as {read}", "type {read}"),
    "W201": ("everything after # is a comment, so the key is {key}", "write  {example}  without a blank before #"),
    "W204": ("the solo guitar has no tune to play", "write the tune under the chords, such as  melody: | D5 / F5 / |"),
    "W202": ("{style} has no {player} that could be louder or softer", "the players are {players}"),
    "W301": ("the form never plays the section {name}", "add it to the form, or delete it"),
    "W302": ("no ending is numbered {number}; the last one serves instead", "type  |{number}."),
    "W303": ("{found} is printed and not obeyed; did you mean the direction {name}?", 'type  "{name}"'),
    "W305": ("the name of this section ends in a count, which is not obeyed", "{hint}"),
    "W306": ("{found} is printed and not obeyed", "{hint}"),
    "W510": ("{message}", "{hint}"),
    "W304": ("the mark {name} stands here, and no direction leads to it", "{hint}"),
    "W401": ("{count} stand in this bar, and its melody has {notes}, so they are printed as free text", "write a note for each syllable and each _ , or take out the - of what is sung on one note{more}"),
    "W901": ("no font of the sheet has {found}, so question marks stand there", "{hint}"),
}  # fmt: skip

# Faults of chord symbols: the name that the reader of symbols gives -> code; it words the sentence and the hint itself.
SYMBOL_CODES = {
    "not-a-note-name": "E505", "lower-case-root": "E506", "german-note-name": "E507",
    "looks-like-solfege": "E508", "look-alike-letter": "E509", "bad-character": "E510",
    "mixed-accidentals": "E511", "too-many-accidentals": "E512", "dangling-accidental": "E513",
    "unbalanced-bracket": "E514", "empty-bracket": "E515", "empty-item": "E516",
    "nested-bracket": "E517", "missing-bass": "E518", "bad-bass": "E519", "two-basses": "E520",
    "polychord": "E521", "wrong-slash": "E522", "no-chord-with-bass": "E523",
    "unknown-word": "E524", "unknown-number": "E525", "word-order": "E526",
    "dangling-minus": "E527", "zero-for-degree-sign": "E528", "ambiguous-extension": "E529",
    "ambiguous-add": "E530", "ambiguous-symbol": "E531", "ambiguous-plus": "E532",
    "bad-sus": "E533", "add-without-degree": "E534", "omit-without-degree": "E535",
    "contradiction": "E536", "duplicate": "E537", "redundant-alteration": "E538",
    "junk-at-end": "E539", "chart-token": "E540", "ambiguous-number": "E541",
}  # fmt: skip
SYMBOL_WARNINGS = {
    "ambiguous-flat": "W501", "ambiguous-sharp": "W502", "ambiguous-extension": "W503",
    "ambiguous-number": "W504", "contradiction": "W505", "old-spelling": "W506",
    "ambiguous-minus": "W507", "full-width": "W508", "ambiguous-plus": "W509",
    "looks-like-solfege": "W511",
}  # fmt: skip
CODES |= dict.fromkeys((*SYMBOL_CODES.values(), *SYMBOL_WARNINGS.values()), ("{message}", "{hint}"))

MOST_MISTAKES = 200


class TooMany(Exception):
    """So many mistakes that reading on would help nobody; never leaves this package."""


def quoted(text: str, most: int = 24) -> str:
    """Found text for a sentence, cut to a readable length.

    >>> quoted("tmepo"), quoted("x" * 40)
    ("'tmepo'", "'xxxxxxxxxxxxxxxxxxxxxxxx…'")
    """
    shown = text if len(text) <= most else text[:most] + "…"
    return "'" + "".join(c if c.isprintable() else f"U+{ord(c):04X}" for c in shown) + "'"


def near(word: str, names: Iterable[str]) -> str | None:
    """The name most like a word of ordinary length."""
    return nearest(word, list(names)) if 0 < len(word) <= 40 else None


def count(number: object, noun: str) -> str:
    """`1 bar`, `3 bars`."""
    return f"{number} {noun}" if str(number) == "1" else f"{number} {noun}s"


class Faults:
    """The diagnostics of one text, gathered while it is read."""

    __slots__ = ("_errors", "found", "source")

    def __init__(self, source: Source) -> None:
        self.source = source
        self.found: list[Diagnostic] = []
        self._errors = 0

    def add(self, code: str, start: int, end: int, **values: object) -> None:
        """Note a mistake at characters `start` to `end`. Raises `TooMany` after `MOST_MISTAKES`."""
        sentence, hint = CODES[code]
        severity = Severity.WARNING if code[0] == "W" else Severity.ERROR
        self._put(code, start, end, sentence.format(**values), hint.format(**values), severity)
        self._errors += severity is Severity.ERROR
        if self._errors == MOST_MISTAKES:
            sentence, hint = CODES["E906"]
            sentence = sentence.format(most=MOST_MISTAKES)
            self._put("E906", end, end, sentence, hint, Severity.ERROR)
            raise TooMany

    def _put(
        self, code: str, start: int, end: int, message: str, hint: str, severity: Severity
    ) -> None:
        most = len(self.source.text)
        span = Span(min(start, most), min(max(start, end), most))
        self.found.append(Diagnostic(code, message, hint, span, self.source, severity))

    def line(self, offset: int) -> int:
        """The line, from 1, of a place."""
        return self.source.line_column(offset)[0]

    @property
    def wrong(self) -> bool:
        """Whether any mistake was found, warnings apart."""
        return self._errors > 0

    def in_order(self) -> tuple[Diagnostic, ...]:
        """All of them in text order."""
        return tuple(sorted(self.found, key=lambda d: (d.span.start, d.span.end, d.code)))
