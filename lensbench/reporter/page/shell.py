"""What every page shares: its templates, its style, and what the browser may do with it."""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

_TEMPLATES = Path(__file__).parent / "templates"


def environment() -> Environment:
    """The templates; whatever is put into them is escaped."""
    return Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def text_of(name: str) -> str:
    """A file beside the templates, such as the style, as it stands."""
    return (_TEMPLATES / name).read_text(encoding="utf-8")


def security_policy(style: str, script: str = "") -> str:
    """What the browser may do with a page: show it and run this very script; nothing else, and no network."""
    hashes = [base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in (style, script)]
    return (
        f"default-src 'none'; img-src data:; style-src 'sha256-{hashes[0]}'; script-src 'sha256-{hashes[1]}'; "
        "base-uri 'none'; form-action 'none'; require-trusted-types-for 'script'; trusted-types 'none'"
    )
