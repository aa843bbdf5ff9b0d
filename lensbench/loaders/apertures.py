"""The apertures of shots as the session file beside them says, since adapted lenses can't tell the camera."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from lensbench.errors import BenchError
from lensbench.loaders.session import SESSION_FILE
from lensbench.loaders.session_checks import check_session


class Aperture(NamedTuple):
    """A shot's aperture: an f-number, or a name such as ``third click``."""

    f_number: float | None
    name: str | None


def apertures_beside(shot: Path) -> dict[str, Aperture]:
    """What the session file in a shot's folder says of apertures, by file name.

    Parameters
    ----------
    shot : Path
        Its session file may be missing or unfinished: what it doesn't say rightly isn't there.
    """
    path = shot.parent / SESSION_FILE
    if not path.is_file():
        return {}
    try:
        shots = check_session(shot.parent, path).shots
    except BenchError:
        return {}
    return {
        entry["file"]: Aperture(entry.get("f_number"), entry.get("aperture"))
        for entry in shots
        if "file" in entry and {"f_number", "aperture"} & entry.keys()
    }
