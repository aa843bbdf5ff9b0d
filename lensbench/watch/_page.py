"""The live page: one file, written whole after every shot, that loads itself anew and needs no network."""

from __future__ import annotations

import base64
import hashlib
import os
import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from lensbench.errors import BenchError
from lensbench.files import written_whole
from lensbench.watch._looks import Look
from lensbench.watch._words import HISTORY_HEAD, figure_rows, history_rows, in_short, spot_rows

RELOADS_S = 2
"""How often the page loads itself anew."""

_TEMPLATES = Path(__file__).parent / "templates"
_SEAL = re.compile(rb"<!-- lensbench watch ([0-9a-f]{64}) -->\n$")


class LivePage:
    """A page of the latest shot, at a path where nothing but an earlier page of the kind is replaced.

    Parameters
    ----------
    path : Path
        Where to write.

    Raises
    ------
    BenchError
        Where the path leads to anything else, or can't be written to.
    """

    def __init__(self, path: Path):
        self.path = path
        self.write([])

    def write(self, looks: Sequence[Look], running: bool = True) -> None:
        """Write the page anew; once nothing is running any more it no longer loads itself.

        Raises
        ------
        BenchError
            Where another program changed the file since, or it can't be written.
        """
        refuse_in_the_way(self.path)
        content = page_text(looks, running).encode()
        with written_whole(self.path) as temporary:
            temporary.write_bytes(content + _seal(content))


def page_text(looks: Sequence[Look], running: bool = True, now: datetime | None = None) -> str:
    """The page of some looks, the latest last, as HTML."""
    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style, script = ((_TEMPLATES / name).read_text(encoding="utf-8") for name in ("watch.css", "watch.js"))
    look = looks[-1] if looks else None
    return environment.get_template("watch.html").render(
        # A browser lets in this one style and this one script.
        style_hash=_hash(style),
        script_hash=_hash(script),
        style=style,
        script=script,
        running=running,
        reloads_s=RELOADS_S,
        time=f"{now or datetime.now():%H:%M:%S}",
        look=look,
        spots=spot_rows(look, fullest(looks)) if look else [],
        rows=figure_rows(look) if look else [],
        short=in_short(look) if look else "",
        head=HISTORY_HEAD,
        history=history_rows(looks),
    )


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def fullest(looks: Sequence[Look]) -> float:
    """The MTF50 of a whole bar: the sharpest that any shot showed anywhere."""
    return max((s.mtf50.value for one in looks for s in one.spots if s.mtf50 is not None), default=0.0)


def _seal(content: bytes) -> bytes:
    return f"<!-- lensbench watch {hashlib.sha256(content).hexdigest()} -->\n".encode()


def refuse_in_the_way(path: Path) -> None:
    """Refuse a path where something lies that isn't a page of this kind as it was written.

    Raises
    ------
    BenchError
    """
    if not os.path.lexists(path):
        return
    try:
        content = path.read_bytes() if path.is_file() and not path.is_symlink() else b""
    except OSError:
        content = b""
    found = _SEAL.search(content)
    if found is None or _seal(content[: found.start()]) != content[found.start() :]:
        raise BenchError(
            f"{path}: is there already, and no live page as lensbench wrote it. It stays: name another file with "
            "--page, or give --no-page."
        )
