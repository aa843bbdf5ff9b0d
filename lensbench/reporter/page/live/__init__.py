"""The living map: every figure of a report by zone and tile, as plain data for the page's script.

In: a `Report` and the `TileView`s beside it. Out: a dict of plain values. Called by `page.composition` alone.
"""

from lensbench.reporter.page.live._map import live_map

__all__ = ["live_map"]
