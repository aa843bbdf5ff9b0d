"""What besides the lens shaped a target shot: motion, a second image, bands, sharpening, a tone curve, the print.

In: a target shot, its edges' positions and what was measured there. Out: `ShotSigns` and the exposure, numbers and
no sentences. Called by `run` and `watch`.
"""

from lensbench.analysers.shot_quality._asymmetry import EdgeAsymmetry
from lensbench.analysers.shot_quality._bands import LightBands, find_bands
from lensbench.analysers.shot_quality._directional_blur import DirectionalBlur
from lensbench.analysers.shot_quality._double_image import FAR_PX, DoubleImage, find_double_image
from lensbench.analysers.shot_quality._exposure import (
    DARK_WHITE,
    GOOD_WHITE,
    ExposureLevel,
    measure_exposure,
)
from lensbench.analysers.shot_quality._lit_black import LitBlack, find_lit_black
from lensbench.analysers.shot_quality._mosaic import is_mosaic_displaced
from lensbench.analysers.shot_quality._signs import (
    MAX_ASYMMETRY,
    ShotSigns,
    assess_shot,
    find_motion,
)

__all__ = [
    "DARK_WHITE",
    "FAR_PX",
    "GOOD_WHITE",
    "MAX_ASYMMETRY",
    "DirectionalBlur",
    "DoubleImage",
    "EdgeAsymmetry",
    "ExposureLevel",
    "LightBands",
    "LitBlack",
    "ShotSigns",
    "assess_shot",
    "find_bands",
    "find_double_image",
    "find_lit_black",
    "find_motion",
    "is_mosaic_displaced",
    "measure_exposure",
]
