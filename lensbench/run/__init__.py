"""One session from its folder to its Report: shots read, settings joined, warnings said, answers judged.

In: a `Session`. Out: a `Report`. Called by the command line, `demo`, and the library's users.
"""

from lensbench.run._measure import measure_session
from lensbench.run._work import Progress

__all__ = ["Progress", "measure_session"]
