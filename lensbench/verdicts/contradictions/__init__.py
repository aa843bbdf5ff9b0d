"""What can't be true of any lens or lamp, and so is a mistake in what was written down, or in the shot.

In: the settings, how bright their shots are. Out: notices that name the entry to check, and the settings without
the figures that hang on it. Called by `run`.
"""

from lensbench.verdicts.contradictions._brightness import Brightness
from lensbench.verdicts.contradictions._judge import Contradictions, find_contradictions

__all__ = ["Brightness", "Contradictions", "find_contradictions"]
