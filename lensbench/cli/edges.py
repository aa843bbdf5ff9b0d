"""`lensbench edges`: any straight edges in a shot, no target needed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lensbench.cli.progress import progress_bar
from lensbench.cli.screen import AsJson, Quiet, Verbose, check_picture, print_json, print_paths, print_table, say

if TYPE_CHECKING:
    from lensbench.analysers.free_edges import FreeEdges
    from lensbench.shot import Shot


S_PER_MB = 0.15
"""What a megabyte of a shot takes (measured on uncompressed files of 24 megapixels with some fifty edges)."""


def edges(
    shot: Annotated[Path, typer.Argument(help="A shot of a straight edge in front of an even light.")],
    pixel_um: Annotated[
        float | None,
        typer.Option(min=0.2, max=100, help="Pixel pitch in micrometres, for figures in lp/mm."),
    ] = None,
    sensor: Annotated[
        str | None,
        typer.Option(help="The sensor's width and height in millimetres, such as 36x24, instead of --pixel-um."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Write a picture of the shot with the edges flagged to this PNG file.")
    ] = None,
    encoding: Annotated[
        str | None, typer.Option(help="How a TIFF stores light, where it doesn't say so itself: linear or srgb.")
    ] = None,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> None:
    """Measure any clean straight edges found anywhere in a shot; no target is needed.

    At life size and closer paper is too coarse, but a new razor blade, or foil cut with one, in front of a bright
    even light has a perfect edge. Turn it 3 to 10 degrees against the frame, keep it in the plane of focus, and
    expose so that the light stays about half a stop below raw clipping (the camera's own histogram clips earlier).
    A long edge is measured in parts, since sharpness changes over the frame. Several shots of a blade moved about
    the frame, listed in session.toml with shows = "blade", fill the zone map of lensbench measure.

    Take care: blades cut. Cut away from yourself, tape the blade's other edge, hold it with pliers, wear eye
    protection when you snap one, and wrap used blades or put them into a sharps bin. Keep the blade off lens and
    sensor. Never use the sun as the light: it burns eyes and sensors. Lamps get hot and dazzle. Local rules come
    first.

    Exit code 0 when done, 2 when the shot has no clean straight edge.
    """
    from lensbench.loaders.decoder import decoder

    # It gets ready while the rest is loaded.
    decoder.start()
    if out:
        check_picture(out)
    with progress_bar("Looking for edges", quiet, verbose) as progress:
        from lensbench.expected import expected_of_files

        progress.expect(expected_of_files([shot], S_PER_MB))
        from lensbench.analysers.free_edges import measure_free_edges
        from lensbench.loaders import read_shot
        from lensbench.reporter.plots.flagged_edges import write_edges_picture

        loaded = read_shot(shot, encoding)
        progress(1, 2, f"read {shot.name}")
        result = measure_free_edges(loaded, pixel_um or _pitch_um(loaded, sensor))
        progress(2, 2, f"measured {shot.name}")
        if out and result.edges:
            write_edges_picture(loaded, result, out)
    say(*_remarks(loaded))
    if json:
        print_json(result)
    elif quiet:
        print_paths([out] if out and result.edges else [])
    else:
        _print(loaded.name, result)
    if not result.edges:
        from lensbench.reporter.tables.free_edges import refusals

        say(f"{loaded.name}: no clean straight edge.", *refusals(result))
        raise typer.Exit(2)
    if out and not quiet:
        say(f"Picture: {out}")


def _pitch_um(shot: Shot, sensor: str | None) -> float | None:
    """The pixel pitch by the sensor's size, where that is given."""
    from lensbench.errors import BenchError
    from lensbench.frame import pixel_pitch_um, sensor_misfit
    from lensbench.target import size_from_words

    sensor_mm = size_from_words(sensor) if sensor else None
    if sensor_mm and sensor_misfit(shot.size, sensor_mm):
        raise BenchError(f"{shot.name}: {sensor_misfit(shot.size, sensor_mm)}")
    return pixel_pitch_um(shot.size, sensor_mm)


def _print(name: str, result: FreeEdges) -> None:
    from lensbench.reporter.tables import free_edges as tables

    if result.edges:
        print_table(name, *tables.edge_table(result), words=tables.WORDS)
        say(*tables.in_summary(result), *tables.level_curves(result))
        say(*tables.not_measured(result), *tables.refusals(result))


def _remarks(shot: Shot) -> list[str]:
    """What to know of a shot besides its edges."""
    from lensbench.loaders.guessing import guess_shows

    remarks = []
    if guess_shows(shot) == "target":
        remarks.append(
            f"{shot.name}: seems to show the set-square target. lensbench measure reads all of its edges, and "
            "more: put the shot into a folder with its target.json, and run lensbench session and measure there."
        )
    if shot.incomparable:
        remarks.append(f"{shot.name}: {shot.incomparable}")
    return remarks
