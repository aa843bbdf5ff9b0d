"""An invented report of one target shot and one flat, and truths that agree with it."""

import numpy as np

from lensbench.findings import Figure, TileSharpness
from lensbench.simulator.dirt import MarkTruth
from lensbench.simulator.drawing import EdgeTruth
from lensbench.simulator.flat_shot import FlatTruth
from lensbench.simulator.target_shot import TargetTruth
from lensbench.target.layout import LEGS
from tests.findings.alter import alter
from tests.reporter.invented import invented_report

SIZE = (1500, 1000)
COLOURS = ("red", "green", "blue")


def agreeing():
    """A report and truths that agree with it: each figure is true but for noise that its interval allows."""
    report = invented_report((4.0,), SIZE)
    (setting,) = report.settings
    alter(setting, shots=["t.dng", "w.dng"])
    _add_tiles(setting)
    truths = {"t.dng": _target_truth(setting), "w.dng": _flat_truth(setting)}
    random = np.random.default_rng(3)
    for edge in setting.sharpness.edges:
        value = edge.mtf50.value * (1 + 0.004 * random.standard_normal())
        alter(edge, mtf50=Figure.of(value, 1.96 * 0.004 * value, "cy/px"))
    return report, truths


def _add_tiles(setting):
    by_place = {}
    for edge in setting.sharpness.edges:
        by_place.setdefault((edge.column, edge.row, edge.channel), {})[edge.leg] = edge
    for (column, row, channel), legs in by_place.items():
        e = legs["along"]
        figures = legs["along"].mtf50, legs["across"].mtf50
        setting.sharpness.tiles.append(TileSharpness(column, row, channel, e.x, e.y, e.h, *figures, True))


def _target_truth(setting) -> TargetTruth:
    tiles = setting.fringing.tiles
    count = len(tiles)
    place = np.array([(t.x, t.y) for t in tiles])
    mtf50 = {c: np.empty((count, 3)) for c in COLOURS}
    index = {(t.column, t.row): i for i, t in enumerate(tiles)}
    for edge in setting.sharpness.edges:
        mtf50[edge.channel][index[edge.column, edge.row], LEGS.index(edge.leg)] = edge.mtf50.value
    blank = {c: np.zeros((count, 3, 2)) for c in COLOURS}
    edges = EdgeTruth(
        place_px=place,
        middle_px=blank,
        crossing_px=blank,
        normal=np.zeros((count, 3, 2)),
        angle_deg=np.zeros((count, 3)),
        mtf50=mtf50,
        lens_mtf50=mtf50,
        sagittal_mtf50={c: v[:, 0] for c, v in mtf50.items()},
        tangential_mtf50={c: v[:, 1] for c, v in mtf50.items()},
        frequencies=np.zeros(1),
        mtf={},
    )
    lateral = {
        c: np.array([[getattr(t, c).dx.value, getattr(t, c).dy.value] for t in tiles]) for c in ("red", "blue")
    }
    return TargetTruth(
        column=np.array([t.column for t in tiles]),
        row=np.array([t.row for t in tiles]),
        whole=np.ones(count, bool),
        corners_px={},
        edges=edges,
        lateral_px=lateral,
        marks=[],
        magnification=setting.magnification.value,
        effective_f_number=4.0,
        image_distance_mm=50.0,
        size=SIZE,
    )


def _flat_truth(setting) -> FlatTruth:
    grid = setting.falloff.grid
    marks = [
        MarkTruth(m.x + 1, m.y, m.kind, "sensor", m.width_px.value, m.length_px.value, m.depth_percent.value, 20.0)
        for m in setting.dust.marks
    ]
    stops = {"green": np.array(grid.stops)}
    return FlatTruth(np.array(grid.x), np.array(grid.y), stops, (750.0, 500.0), marks, 4.0)
