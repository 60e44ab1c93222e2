"""Words that charts and options share: whether the band arranges the track.

It is loaded with the command line, so it imports nothing.
"""

FULL, FLAT = "full", "flat"
PLANS = (FULL, FLAT)  # whether a leader plans the track, or everybody plays steadily throughout
