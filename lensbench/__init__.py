"""Lensbench: measure a home-built camera lens from raw shots of two printed sheets.

Everything that the command line does is one or two calls of what is named here. A name loads its part of the
package when it is first used, so ``import lensbench`` itself takes next to no time.

Shots
    `read_shot`, `Shot.from_array`
Edges
    `read_layout`, `find_tiles`, `tile_edges`, `measure_edges`, `measure_free_edges`
Even light
    `find_marks`, `measure_falloff`
Pictures
    `correct_shot`
Sessions and reports
    `load_session`, `measure_session`, `write_report`, `read_report`

What can't be read or measured raises `BenchError`, whose message names the file, what is wrong and what to do. A
measured `Figure` is a value with its 95 % interval. Findings turn into columns with ``columns()`` and show
themselves as tables in a notebook.
"""

import lazy_loader as _lazy

__version__ = "0.1.0"

# Which names there are and where they come from stands in `__init__.pyi`.
__getattr__, __dir__, __all__ = _lazy.attach_stub(__name__, __file__)
