"""A performance as sound: played, mixed, levelled, and written in every format of sound."""
