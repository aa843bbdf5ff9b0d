"""What the marks lie on, where to wipe, and what wiping changed.

In: marks by setting, or of two flats. Out: the answer `Dirt`, and sentences.
Called by `run`, `reporter` and the command line.
"""

from lensbench.verdicts.dirt._cleanliness import CAUTIONS, Cleanliness, judge_cleanliness
from lensbench.verdicts.dirt._faces import (
    FACES,
    FRONT,
    PICTURE,
    REAR,
    SENSOR_FACE,
    lies_on,
    seen_on,
    where_to_look,
    words_on,
)
from lensbench.verdicts.dirt._flat_notices import flat_notices
from lensbench.verdicts.dirt._place import place_dirt
from lensbench.verdicts.dirt._since import Flat, Since, changed_since
from lensbench.verdicts.dirt._surfaces import LENS, PANEL, SENSOR

__all__ = [
    "CAUTIONS",
    "FACES",
    "FRONT",
    "LENS",
    "PANEL",
    "PICTURE",
    "REAR",
    "SENSOR",
    "SENSOR_FACE",
    "Cleanliness",
    "Flat",
    "Since",
    "changed_since",
    "flat_notices",
    "judge_cleanliness",
    "lies_on",
    "place_dirt",
    "seen_on",
    "where_to_look",
    "words_on",
]
