"""Files and folders to shots and sessions."""

from lensbench.loaders.session import load_session
from lensbench.loaders.shot_file import load_shot

__all__ = ["load_session", "load_shot"]
