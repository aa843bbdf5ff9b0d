"""Fixtures that several parts' tests share."""

import pytest

from lensbench.target.layout import make_layout, write_layout
from tests.outside.renderer import OutsideLens, write_outside_session

SIZE = (900, 600)
SENSOR_MM = (36.0, 24.0)


@pytest.fixture(scope="session")
def outside(tmp_path_factory):
    """A small session by the outside renderer: its folder, the renderer's frame, and the layout's file.

    One target shot and one flat at f/5.6; the coarse lattice, little bending, one stop of falloff.
    """
    folder = tmp_path_factory.mktemp("outside")
    layout = folder.parent / "outside-layout.json"
    write_layout(layout, make_layout(SENSOR_MM, 0.1, "coarse"))
    lens = OutsideLens(
        px_per_mm=SIZE[0] / 360, turn_deg=2.0, bend=(-0.03, 0.0), fringe_px=(1.5, 0.0, -1.0), falloff_stops=1.0
    )
    return folder, write_outside_session(folder, layout, lens, SIZE, SENSOR_MM), layout
