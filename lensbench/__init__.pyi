from . import (
    analysers,
    cli,
    correction,
    demo,
    dng,
    figure,
    files,
    findings,
    formatting,
    frame,
    loaders,
    noise,
    optics,
    reduction,
    reporter,
    run,
    shot,
    simulator,
    target,
    verdicts,
    watch,
)
from .analysers.dust import find_marks
from .analysers.edge import measure_edges, tile_edges
from .analysers.falloff import measure_falloff
from .analysers.free_edges import measure_free_edges
from .correction import correct_shot
from .errors import BenchError
from .figure import Figure
from .findings import Report, read_report
from .loaders import load_session, read_shot
from .reporter.write import write_report
from .run import measure_session
from .shot import Exposure, Shot
from .target import find_tiles, read_layout

__version__: str

__all__ = [
    "BenchError",
    "Exposure",
    "Figure",
    "Report",
    "Shot",
    "analysers",
    "cli",
    "correct_shot",
    "correction",
    "demo",
    "dng",
    "figure",
    "files",
    "find_marks",
    "find_tiles",
    "findings",
    "formatting",
    "frame",
    "load_session",
    "loaders",
    "measure_edges",
    "measure_falloff",
    "measure_free_edges",
    "measure_session",
    "noise",
    "optics",
    "read_layout",
    "read_report",
    "read_shot",
    "reduction",
    "reporter",
    "run",
    "shot",
    "simulator",
    "target",
    "tile_edges",
    "verdicts",
    "watch",
    "write_report",
]
