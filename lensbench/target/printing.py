"""The sheets as PDF and SVG at true size: the set-square target, and the plain one for the even light."""

from __future__ import annotations

from pathlib import Path

from lensbench.files import write_new
from lensbench.target._drawing import as_file, plain_drawing, target_drawing
from lensbench.target._sheet import Sheet, plan_sheet, size_from_words
from lensbench.target.layout import layout_text

__all__ = ["Sheet", "plan_sheet", "size_from_words", "write_sheets"]


def write_sheets(folder: str | Path, sheet: Sheet) -> list[Path]:
    """Write both sheets as PDF and SVG, and the layout of their tiles, into a folder.

    Parameters
    ----------
    folder : path
        Where the files go; made where missing.
    sheet : Sheet
        From `plan_sheet`.

    Returns
    -------
    list of Path
        ``target.json``, ``target.pdf``, ``target.svg``, ``plain.pdf`` and ``plain.svg``.

    Raises
    ------
    BenchError
        Where the folder holds another print's files, which that print's shots need, or can't be written to.
    """
    target, plain = target_drawing(sheet), plain_drawing(sheet)
    contents = {
        "target.json": layout_text(sheet.layout).encode(),
        "target.pdf": as_file(target, "pdf"),
        "target.svg": as_file(target, "svg"),
        "plain.pdf": as_file(plain, "pdf"),
        "plain.svg": as_file(plain, "svg"),
    }
    files = {Path(folder) / name: content for name, content in contents.items()}
    write_new(files, "It may belong to another print: name another folder, so that it stays with that print.")
    return list(files)
