"""All causes of the gauntlet, in the order of its table."""

from tests.bench.gauntlet.exposure_causes import EXPOSURE_CAUSES
from tests.bench.gauntlet.file_causes import FILE_CAUSES
from tests.bench.gauntlet.light_causes import LIGHT_CAUSES
from tests.bench.gauntlet.scene_causes import SCENE_CAUSES

CAUSES = [*EXPOSURE_CAUSES, *SCENE_CAUSES, *LIGHT_CAUSES, *FILE_CAUSES]
