"""What is played: a chart unrolled into bars in order, with chords, keys, meters and tempo."""
