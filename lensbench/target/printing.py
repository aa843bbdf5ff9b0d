"""The sheets as PDF and SVG at true size: the set-square target, and the plain one for the even light."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from lensbench.files import write_new
from lensbench.target._drawing import as_file, plain_drawing, target_drawing
from lensbench.target._sheet import Sheet, plan_sheet, size_from_words
from lensbench.target.layout import layout_text

__all__ = ["Sheet", "plan_sheet", "size_from_words", "write_sheets"]


def write_sheets(
    folder: str | Path, sheet: Sheet, progress: Callable[[int, int, str], object] | None = None
) -> list[Path]:
    """Write both sheets as PDF and SVG, and the layout of their tiles, into a folder.

    Parameters
    ----------
    folder : path
        Where the files go; made where missing.
    sheet : Sheet
        From `plan_sheet`.
    progress : callable, optional
        Told of the files drawn, the files in all, and the name of the one just drawn.

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
    draw: dict[str, Callable[[], bytes]] = {
        "target.json": lambda: layout_text(sheet.layout).encode(),
        "target.pdf": lambda: as_file(target, "pdf"),
        "target.svg": lambda: as_file(target, "svg"),
        "plain.pdf": lambda: as_file(plain, "pdf"),
        "plain.svg": lambda: as_file(plain, "svg"),
    }
    files: dict[Path, bytes] = {}
    for done, (name, content) in enumerate(draw.items(), 1):
        files[Path(folder) / name] = content()
        if progress is not None:
            progress(done, len(draw), name)
    write_new(files, "It may belong to another print: name another folder, so that it stays with that print.")
    return list(files)
