"""One session from its folder to its Report: shots read, settings joined, warnings said, answers judged.

In: a `Session`. Out: a `Report`, and pictures of tiles beside it. Called by the command line, `demo`, and the
library's users.
"""

from lensbench.run._expected import expected_s
from lensbench.run._measure import Measured, measure_session, measure_with_views
from lensbench.run._work import Progress

__all__ = ["Measured", "Progress", "expected_s", "measure_session", "measure_with_views"]
