"""The band: a timeline becomes every player's notes on an exact grid, each with its reason."""
