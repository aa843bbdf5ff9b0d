"""A shot's samples corrected in memory, and the numbers of a correction: arrays in, arrays out, no file."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from lensbench.correction._choice import Taken
from lensbench.correction._gains import Gains
from lensbench.correction._made import USUAL, check_fits, make_recipe
from lensbench.correction._planes import corrected_planes
from lensbench.correction._proof import as_shot
from lensbench.correction._values import Values, values_of_recipe
from lensbench.correction._warp import Warp
from lensbench.findings import Report
from lensbench.shot import Shot


def correct_shot(
    shot: Shot,
    report: Report,
    f_number: float | None = None,
    aperture: str | None = None,
    magnification: float | None = None,
    kinds: Collection[str] = USUAL,
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0),
) -> Shot:
    """Take a lens's flaws out of a shot.

    Parameters
    ----------
    shot : Shot
        A raw shot of the report's camera, as `read_shot` gives it. It stays as it is.
    report : Report
        What was measured of the lens.
    f_number, aperture : float, str, optional
        At which it was taken: by number, or by the aperture's name in the report.
    magnification : float, optional
        At which it was taken: size on the sensor over size in the scene.
    kinds : collection of {'falloff', 'fringing', 'dirt', 'distortion'}
        What to take out.
    balance : (float, float, float)
        Factors of red, green and blue that make neutral light equal: what is blown is then white.

    Returns
    -------
    Shot
        Planes of red, green and blue (or a grey frame) in linear light from 0 to 1, shape (height, width, 3).

    Raises
    ------
    BenchError
        Where the report is of another camera or frame, or says nothing of such a picture.

    Examples
    --------
    One stop of falloff in the corners, given back:

    >>> import numpy as np
    >>> from lensbench import Report, Shot, correct_shot
    >>> from lensbench.findings import Build, Camera, Falloff, FalloffGrid, Setting
    >>> x, y = np.linspace(0, 299, 49), np.linspace(0, 199, 33)
    >>> stops = (np.hypot(x - 149.5, (y - 99.5)[:, None]) / 180.3) ** 2
    >>> falloff = Falloff([], FalloffGrid(x.tolist(), y.tolist(), stops.tolist()), None, True)
    >>> report = Report(Build("Marram 32"), Camera((300, 200)), settings=[Setting(f_number=8.0, falloff=falloff)])
    >>> shot = Shot.from_array(np.full((200, 300), 5000), black=512, white=15871, pattern="RGGB")
    >>> planes = correct_shot(shot, report, f_number=8.0).samples
    >>> planes.shape
    (200, 300, 3)
    >>> round(float(planes[0, 0, 1] / planes[100, 150, 1]), 1)
    2.0
    """
    check_fits(report, shot)
    recipe = make_recipe(report, Taken(f_number, aperture, magnification), kinds).recipe
    colours = ("grey",) if shot.colours == ("grey",) else ("red", "green", "blue")
    none_hot = np.zeros((0, 2), np.int64)
    planes = corrected_planes(
        shot, Gains(recipe, shot.channels), Warp(recipe, colours), none_hot, np.array(balance)
    )
    return as_shot(shot.name, planes, shot)


def correction_values(report: Report, taken: Taken, kinds: Collection[str] = USUAL) -> Values:
    """The correction of pictures taken in some way, in numbers; `make_recipe` says what it raises."""
    return values_of_recipe(make_recipe(report, taken, kinds).recipe)
