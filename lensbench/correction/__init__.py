"""Flaws taken out of pictures: findings to gains, warps and corrected copies.

In: a `Report` and raw pictures, or one `Shot`. Out: copies as DNG and TIFF, planes, or the numbers themselves.
Called by the command line and by the library's users.
"""

from lensbench.correction._choice import Taken, aperture_from_words
from lensbench.correction._correct_shot import correct_shot, correction_values
from lensbench.correction._expected import expected_s
from lensbench.correction._made import KINDS, USUAL
from lensbench.correction._pictures import COPIES, Corrected, Wanted, correct_pictures
from lensbench.correction._proof import Proof, Shown
from lensbench.correction._values import Values

__all__ = [
    "COPIES",
    "KINDS",
    "USUAL",
    "Corrected",
    "Proof",
    "Shown",
    "Taken",
    "Values",
    "Wanted",
    "aperture_from_words",
    "correct_pictures",
    "correct_shot",
    "correction_values",
    "expected_s",
]
