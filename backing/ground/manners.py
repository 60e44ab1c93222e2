"""Words that charts and options share: how a band begins a tune, and whether it plans the track.

It is loaded with the command line, so it imports nothing.
"""

OFF = "off"
LAST_FOUR, PEDAL, VAMP = "last 4", "pedal", "vamp"
INTROS = (OFF, LAST_FOUR, PEDAL, VAMP)  # what a band plays before a tune that has no introduction
FULL, FLAT = "full", "flat"
PLANS = (FULL, FLAT)  # whether a leader plans the track, or everybody plays steadily throughout
CHORD_MELODIES = ("full", "easy", "bass")  # how full a solo guitar plays tune and chords
