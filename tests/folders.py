"""What a folder holds, to be compared before and after: names, kinds and content of everything below it."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path


def holdings(folder: Path) -> dict[str, str]:
    """By path below a folder: a link's target, ``folder``, or the digest of a file's content."""
    held = {}
    for root, folders, files in os.walk(folder):
        for name in (*folders, *files):
            path = Path(root) / name
            held[str(path.relative_to(folder))] = _kind(path)
    return held


def _kind(path: Path) -> str:
    if path.is_symlink():
        return f"link to {os.readlink(path)}"
    return "folder" if path.is_dir() else hashlib.sha256(path.read_bytes()).hexdigest()
