"""Reports for people and for other programs: the page, drawings, tables, sentences, and the folder they go into.

In: a `Report`, or the edges of one shot. Out: files, tables of text. Called by `demo` and the
command line, through `write`, `tables` and `plots.flagged_edges`.
"""

import logging

# It draws as well where it can't keep its caches, of which it would say more than of the measurement.
logging.getLogger("matplotlib").setLevel(logging.ERROR)
