from .finder import FoundTiles, find_tiles
from .layout import LATTICES, LEG_CORNERS, LEGS, Layout, make_layout, read_layout, write_layout
from .printing import Sheet, plan_sheet, size_from_words, write_sheets

__all__ = [
    "LATTICES",
    "LEGS",
    "LEG_CORNERS",
    "FoundTiles",
    "Layout",
    "Sheet",
    "find_tiles",
    "make_layout",
    "plan_sheet",
    "read_layout",
    "size_from_words",
    "write_layout",
    "write_sheets",
]
