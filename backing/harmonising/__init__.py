"""Chords for a melody: candidates for every place, the cheapest ways through them, and a reason for each chord."""
