"""The example report that lies in `reports/example/`: a small build simulated, measured, and its page kept.

Run as ``python -m tests.bench.example`` (a minute). The coarse lattice and three setups less than anybody would
shoot keep it small; of the files those are kept that are read without another program.
"""

from __future__ import annotations

import dataclasses
import shutil
import tempfile
from pathlib import Path

from lensbench.demo._build import MAGNIFICATION, demo_bench, demo_takes
from lensbench.loaders.session import load_session
from lensbench.reporter.write import write_report
from lensbench.run import measure_with_views
from lensbench.simulator.session import write_session
from lensbench.target.layout import make_layout

FOLDER = Path(__file__).parents[2] / "reports" / "example"
KEPT = (
    *("report.html", "zone_map.png"),
    *("sharpness_zones.csv", "fringing_zones.csv", "falloff_zones.csv", "dirt_marks.csv"),
)
MOST_BYTES = 2_000_000


def main() -> None:
    """Simulate, measure, and put what is kept in its place."""
    bench = demo_bench()
    layout = make_layout(bench.camera.sensor_mm, MAGNIFICATION, "coarse")
    bench = dataclasses.replace(bench, name="Example: Marram 32 on three rings", layout=layout)
    with tempfile.TemporaryDirectory() as folder:
        write_session(Path(folder) / "evening", bench, demo_takes(), jobs=2)
        report, views = measure_with_views(load_session(Path(folder) / "evening"))
        written, _ = write_report(report, folder, views=views)
        size = sum((written / name).stat().st_size for name in KEPT)
        sizes = {name: (written / name).stat().st_size for name in KEPT}
        assert size < MOST_BYTES, f"too many bytes to keep beside the code: {sizes}"
        FOLDER.mkdir(parents=True, exist_ok=True)
        for name in KEPT:
            shutil.copyfile(written / name, FOLDER / name)
    print(f"{size / 1e6:.2f} MB in {FOLDER}")


if __name__ == "__main__":
    main()
