"""Files and folders to shots and sessions."""

from lensbench.loaders.shot_file import load_shot

__all__ = ["load_shot"]
