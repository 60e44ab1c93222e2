"""The ground floor: time, pitch, chance, instruments, places in a text, errors. It needs the standard library only."""
