"""Reports for people and for other programs: the page, drawings, tables, sentences, and the folder they go into.

In: a `Report`, or the edges of one shot. Out: files, tables of text. Called by `demo` and the
command line, through `write`, `tables` and `plots.flagged_edges`.
"""
