"""Series along a rail by the second renderer, from raw files to the answer: python -m tests.bench.outside_rail

One build whose sensor leans behind a sheet that leans too, one whose field is curved, one with nothing, one before
a sheet that leans. What the report has to say follows from the thin lens by hand; it is printed beside.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from lensbench import load_session, measure_session
from lensbench.formatting import with_interval
from lensbench.target.layout import make_layout, write_layout
from tests.outside.rail import MAGNIFICATION, SENSOR_MM, Bench, write_rail_session

BENCHES = {
    # The sensor's part with the picture's right is 2.5° farther from the lens: nearer things are sharp there.
    "sensor leans": (
        Bench(sheet_deg=(1.0, -0.5), sensor_deg=(2.5, 0.0)),
        "not straight, -2.5°, 0.0°, far at left",
    ),
    # h = 1 is imaged 0.15 mm farther from the lens: on the sensor are things 0.15 / 0.25² = 2.4 mm farther.
    "field curved": (Bench(bow_mm=0.15), "straight, curved, 2.4 mm h², farther"),
    "nothing": (Bench(), "straight, 0.0°, 0.0°"),
    "sheet leans": (Bench(sheet_deg=(2.0, 1.0)), "straight, 0.0°, 0.0°"),
}


def main() -> None:
    for seed, (name, (bench, expected)) in enumerate(BENCHES.items()):
        with TemporaryDirectory() as folder:
            layout = Path(folder) / "layout.json"
            write_layout(layout, make_layout(SENSOR_MM, 1.25 * MAGNIFICATION, "coarse"))
            # Frames of 900 × 600 and small tiles, so that some lie in the corners.
            bench, rail = replace(bench, pixel_mm=0.004), np.linspace(-3.2, 4.8, 8)
            write_rail_session(Path(folder) / "rail", layout, bench, rail, 7_100 + seed)
            report = measure_session(load_session(Path(folder) / "rail"), workers=1)
        focus, verdict = report.settings[0].focus, report.verdict
        assert focus is not None
        assert focus.lean is not None
        assert focus.lean.sensor_deg is not None
        assert verdict is not None
        assert verdict.assembly is not None
        right, lower = (with_interval(figure) for figure in focus.lean.sensor_deg)
        step = focus.field[-1]
        bow = step.sagittal_mm.value / step.h**2, step.tangential_mm.value / step.h**2
        faults = [(fault.what, fault.whose, fault.side) for fault in verdict.assembly.faults]
        print(f"{name}: {verdict.assembly.answer}; {right}, {lower}; bow {bow[0]:.2f}, {bow[1]:.2f} mm; {faults}")
        print(f"  planted: {expected}", flush=True)


if __name__ == "__main__":
    main()
