"""Files and folders to shots and sessions.

In: a path. Out: a `Shot`, or a folder's `Session`. Called by `run`, the command line and the library's users.
"""

import lazy_loader as _lazy

# What the names are and where they come from stands in `__init__.pyi`; each loads when it is first used, so that a
# single shot needs none of what session files need.
__getattr__, __dir__, __all__ = _lazy.attach_stub(__name__, __file__)
