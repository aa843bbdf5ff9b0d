from .session import Session, load_session
from .session_start import start_session
from .shot_file import read_shot

__all__ = ["Session", "load_session", "read_shot", "start_session"]
