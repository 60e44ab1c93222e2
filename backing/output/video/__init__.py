"""The chart moving in time with the sound, as a video."""
