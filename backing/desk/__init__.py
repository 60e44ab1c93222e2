"""The music desk: a local server and a page on which a chart is typed, seen, heard and taken away."""
