"""Files and folders to shots and sessions."""

from lensbench.loaders.session import load_session
from lensbench.loaders.session_start import start_session
from lensbench.loaders.shot_file import load_shot

__all__ = ["load_session", "load_shot", "start_session"]
