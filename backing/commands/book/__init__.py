"""Many tunes at once: a folder or a list of charts becomes printed books, an album, practice pages and whatever else.

list or folder ─listing─▶ tunes ─plans─▶ jobs of each tune ─crew─▶ files of each ─shelf─▶ jobs of the whole ─▶ books, index, album
"""
