"""The set-square target: where every corner lies, how it is printed, how it is found again in a shot.

In: a frame's size, or a Shot. Out: `Layout`, the files to print, `FoundTiles`.
Called by the analysers, `run`, the simulator (only `layout`) and the command line.
"""

import lazy_loader as _lazy

# What the names are and where they come from stands in `__init__.pyi`; each loads when it is first used.
__getattr__, __dir__, __all__ = _lazy.attach_stub(__name__, __file__)
