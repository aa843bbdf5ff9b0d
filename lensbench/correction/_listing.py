"""`pictures.toml`: how the pictures beside it were taken, for those that no option speaks of."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from lensbench.correction._choice import Taken
from lensbench.errors import BenchError
from lensbench.loaders.apertures import Aperture, apertures_beside
from lensbench.loaders.toml_checks import Check, Mistake, check_table, number, words
from lensbench.loaders.toml_lines import line_of, read_toml

LISTING = "pictures.toml"

_TAKEN: dict[str, Check] = {
    "f_number": number(0.3, 512, "the f-number marked on the lens, such as 8"),
    "aperture": words('a name for the aperture, such as "third click"'),
    "magnification": number(1e-6, 100, "size on the sensor over size in the scene, such as 0.12"),
}
_KEYS: dict[str, Check] = {"file": words("the name of a picture in this folder"), **_TAKEN}


def read_listing(folder: Path) -> dict[str, Taken]:
    """How the pictures of a folder were taken, by file name; empty where there is no listing.

    Keys that stand before the first [[picture]] hold for all that don't say otherwise.

    Raises
    ------
    BenchError
        Naming each mistake with its line.
    """
    path = folder / LISTING
    if not path.exists():
        return {}
    data, text = read_toml(path)
    pictures = data.pop("picture", [])
    common, mistakes = check_table(data, _TAKEN, ())
    if not isinstance(pictures, list) or not all(isinstance(picture, dict) for picture in pictures):
        raise BenchError(f"{path}: picture must be a table: write [[picture]] on a line of its own for each.")
    taken = {}
    for place, picture in enumerate(pictures):
        right, wrong = check_table(picture, _KEYS, ("picture", place))
        mistakes += wrong
        if "file" in right:
            taken[right.pop("file")] = _taken(common, right)
        elif "file" not in picture:
            mistakes.append(Mistake(("picture", place), 'file is missing. Add file = "…" to it.'))
    if mistakes:
        lines = ((line_of(text, mistake.key) or 1, mistake.text) for mistake in mistakes)
        raise BenchError("\n".join(f"{path}, line {line}: {said}" for line, said in lines))
    return taken


def _taken(common: dict[str, Any], own: dict[str, Any]) -> Taken:
    if {"f_number", "aperture"} & own.keys():
        common = {key: value for key, value in common.items() if key == "magnification"}
    both = {**common, **own}
    return Taken(both.get("f_number"), both.get("aperture"), both.get("magnification"))


def taken_of(path: Path, told: Taken, listed: dict[str, Taken]) -> Taken:
    """How a picture was taken: as told for all, else as its folder's listing says, else its session file."""
    own = listed.get(path.name, Taken())
    unknown = Aperture(None, None)
    beside = apertures_beside(path).get(path.name, unknown)
    apertures = (Aperture(told.f_number, told.aperture), Aperture(own.f_number, own.aperture), beside)
    f_number, aperture = next((one for one in apertures if one != unknown), unknown)
    return Taken(f_number, aperture, told.magnification if told.magnification is not None else own.magnification)
