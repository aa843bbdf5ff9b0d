"""The page's tables: figures as text, rounded to their intervals."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from lensbench import frame
from lensbench.findings import Figure, Geometry, Mark, Report, Setting
from lensbench.formatting import NOT_MEASURED, magnitude, with_interval
from lensbench.reporter.plots.marks_by_aperture import depth_at, shows_stopping, stopped_settings
from lensbench.reporter.plots.sharpness import sharpness_unit, shown_channel, zone_figures
from lensbench.verdicts.dirt import FRONT, PICTURE, REAR, SENSOR_FACE, UNTOLD, lies_on, words_on

MOST_MARKS = 20
"""So many marks stand on the page; the CSV table has all."""


@dataclass(frozen=True)
class Table:
    """A table as text: a caption, the headings (grouped under `groups` where given), and rows of cells.

    The first cell of a row is its heading; the first `words` columns hold words, the rest figures.
    """

    caption: str
    head: list[str]
    rows: list[list[str]]
    groups: list[tuple[str, int]] = field(default_factory=list)
    words: int = 1


def all_tables(report: Report) -> dict[str, list[Table]]:
    """Every table of the page by section; a section without findings has none."""
    return {
        "sharpness": _sharpness(report),
        "apertures": _apertures(report),
        "colours": [_fringing(s) for s in report.settings if s.fringing and s.fringing.zones],
        "marks": [_marks(report, s) for s in report.settings if s.dust and s.dust.marks],
        "stopping": _stopping(report),
        "size": _geometry(report.geometry),
        "left_out": [_left_out(s) for s in report.settings if _odd_edges(s)],
    }


def shots_by_setting(report: Report) -> list[tuple[str, str]]:
    """Each setting's name and the shots that went into it."""
    return [(setting.name, ", ".join(setting.shots)) for setting in report.settings]


def zone_rows(columns: list[dict[str, Figure]], signed: bool = False) -> list[list[str]]:
    """A row a zone, a cell a column; zones that no column knows are left out."""
    return [
        [
            zone.replace("-", " "),
            *(with_interval(column.get(zone), unit=False, signed=signed) for column in columns),
        ]
        for zone in frame.ZONES
        if any(zone in column for column in columns)
    ]


def _sharpness(report: Report) -> list[Table]:
    """MTF50 by zone and direction, all settings side by side; then by colour for the mean of both directions."""
    unit = sharpness_unit(report)
    shown = [setting for setting in report.settings if zone_figures(setting, unit)]
    if not shown:
        return []
    columns = [
        {zone: figure for (zone, way), figure in zone_figures(setting, unit).items() if way == direction}
        for setting in shown
        for direction in ("sagittal", "tangential")
    ]
    groups = [(setting.name, 2) for setting in shown]
    channel = shown_channel(shown[0])
    caption = f"MTF50 in {unit}, {channel}, with 95 % intervals"
    by_zone = Table(caption, ["zone", *["sagittal", "tangential"] * len(shown)], zone_rows(columns), groups)
    return [by_zone, *(_by_colour(setting, unit) for setting in shown if len(_channels(setting)) > 1)]


def _apertures(report: Report) -> list[Table]:
    """The apertures side by side, where there are several."""
    rankings = {ranking.part: ranking.ranked for ranking in report.verdict.aperture} if report.verdict else {}
    columns = [
        {one.label: one for one in rankings[part]} for part in ("frame", "centre", "corners") if part in rankings
    ]
    if not columns or len(columns[0]) < 2:
        return []
    rows = []
    for name, one in columns[0].items():
        means = [with_interval(column[name].mean, unit=False) for column in columns]
        rows.append([name, str(len(one.settings)), *means])
    parts = [{"frame": "whole frame"}.get(part, part) for part in rankings]
    caption = (
        f"Apertures by MTF50 in {sharpness_unit(report)}, averaged over the area; of several setups their mean"
    )
    return [Table(caption, ["aperture", "setups", *parts], rows)]


def _channels(setting: Setting) -> list[str]:
    return list(dict.fromkeys(zone.channel for zone in setting.sharpness.zones))


def _by_colour(setting: Setting, unit: str) -> Table:
    channels = _channels(setting)
    columns = [
        {zone: figure for (zone, way), figure in zone_figures(setting, unit, channel).items() if way == "mean"}
        for channel in channels
    ]
    caption = f"MTF50 in {unit} by colour at {setting.name}, mean of both directions"
    return Table(caption, ["zone", *channels], zone_rows(columns))


def _fringing(setting: Setting) -> Table:
    parts = [(channel, part) for channel in ("red", "blue") for part in ("radial_px", "around_px")]
    columns = [
        {zone.zone: getattr(zone, part) for zone in setting.fringing.zones if zone.channel == channel}
        for channel, part in parts
    ]
    head = ["zone", "outward", "around", "outward", "around"]
    caption = f"Red and blue against green at {setting.name}, px"
    return Table(caption, head, zone_rows(columns, signed=True), [("red", 2), ("blue", 2)])


def _marks(report: Report, setting: Setting) -> Table:
    shown = setting.dust.marks[:MOST_MARKS]
    rows = [_mark_row(number, mark, report) for number, mark in enumerate(shown, start=1)]
    head = [
        "mark",
        "kind",
        "in the picture",
        "lies on",
        "there, as you face it",
        "width, px",
        "length, px",
        "depth, %",
    ]
    caption = f"Marks at {setting.name}, the plainest first"
    if len(shown) < len(setting.dust.marks):
        caption = f"Marks at {setting.name}, the plainest {len(shown)} of {len(setting.dust.marks)}"
    return Table(caption, head, rows, words=5)


def _mark_row(number: int, mark: Mark, report: Report) -> list[str]:
    size = report.camera.size_px
    kind = mark.kind if mark.depth_percent.value > 0 else f"bright {mark.kind}"
    figures = [
        with_interval(f, unit=False) for f in (mark.width_px, mark.length_px, magnitude(mark.depth_percent))
    ]
    picture = words_on(PICTURE, mark, size)
    return [str(number), kind, picture, mark.place or UNTOLD, _there(mark, size), *figures]


def _there(mark: Mark, size: tuple[int, int]) -> str:
    """Where to look for a mark on what it lies on, or may; empty where that isn't known, or is the panel."""
    faces = [face for face in (SENSOR_FACE, FRONT, REAR) if lies_on(face, mark) is not False]
    if mark.place in ("", UNTOLD) or not faces:
        return ""
    return f"{words_on(faces[0], mark, size)}{' (front)' if REAR in faces[1:] else ''}"


def _stopping(report: Report) -> list[Table]:
    """Depths of the marks at each aperture, where they were followed through several."""
    if not shows_stopping(report):
        return []
    traced = report.verdict.dirt.marks[:MOST_MARKS]
    settings = stopped_settings(report)
    rows = []
    for number, mark in enumerate(traced, start=1):
        depths = {sighting.setting: magnitude(depth_at(report, sighting)) for sighting in mark.sightings}
        distance = with_interval(mark.distance_mm, unit=False) if mark.distance_mm else ""
        cells = [with_interval(depths[s], unit=False) if s in depths else "not seen" for s in settings]
        rows.append([str(number), mark.place, *cells, distance])
    head = ["mark", "lies on", *(report.settings[s].label for s in settings), "from the sensor, mm"]
    return [Table("Depth of the marks in percent at each aperture", head, rows, words=2)]


def _geometry(geometry: Geometry | None) -> list[Table]:
    if geometry is None:
        return []
    view = geometry.view
    lines = [
        ("Reproduction ratio", with_interval(geometry.magnification)),
        ("The frame takes in", _covers(geometry)),
        ("Distortion at the corner", with_interval(geometry.distortion_percent, signed=True)),
        ("A line along the long side bows by", _bow(geometry)),
        ("Field of view over the diagonal", with_interval(geometry.field_of_view_deg)),
        ("Focal length", with_interval(view.focal_length_mm if view else None)),
        ("Target in front of the entrance pupil", with_interval(view.pupil_to_target_mm if view else None)),
        ("Target turned by", with_interval(geometry.target_turn_deg)),
        ("Target tilted by", with_interval(geometry.target_tilt_deg)),
        ("Ink spread over the target's edges by", with_interval(geometry.ink_spread_um)),
    ]
    rows = [[name, text] for name, text in lines if text != NOT_MEASURED]
    caption = f"Measured on {geometry.shot}" if geometry.shot else "Measured on the target"
    return [Table(caption, ["what", "figure"], rows, words=2)] if rows else []


def _covers(geometry: Geometry) -> str:
    if geometry.covers_mm is None:
        return NOT_MEASURED
    across, down = (with_interval(figure, unit=False) for figure in geometry.covers_mm)
    return f"{across} by {down} mm of the sheet"


def _bow(geometry: Geometry) -> str:
    bow = geometry.distortion.bow_percent if geometry.distortion else None
    return NOT_MEASURED if bow is None else f"{with_interval(magnitude(bow))} of the picture's height"


def _odd_edges(setting: Setting) -> list:
    return [edge for edge in setting.sharpness.edges if not edge.used and edge.why] if setting.sharpness else []


def _left_out(setting: Setting) -> Table:
    """How many edges were left out of the zones' figures, by reason."""
    reasons: dict[str, int] = {}
    for edge in _odd_edges(setting):
        # "51 % softer than …" of one edge and "62 % softer than …" of another are one reason here.
        why = re.sub(r"^[\d.]+ % ", "", edge.why)
        reasons[why] = reasons.get(why, 0) + 1
    rows = [[why, str(count)] for why, count in sorted(reasons.items(), key=lambda pair: -pair[1])]
    total = len(setting.sharpness.edges)
    return Table(f"Edges left out at {setting.name}, of {total}", ["why", "edges"], rows)
