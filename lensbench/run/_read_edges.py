"""One shot of edges, of the target or of blades: loaded, searched and measured, with what went wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from lensbench.analysers.edge import EdgeResponses, measure_edges, tile_edges
from lensbench.analysers.free_edges import free_responses
from lensbench.analysers.glare import read_dark_tiles
from lensbench.analysers.photon_transfer import assess_noise, find_filter
from lensbench.analysers.shot_quality import assess_shot
from lensbench.findings import Notice
from lensbench.loaders.session_keys import ShotEntry
from lensbench.run._darks import MeanDark, fitting_darks
from lensbench.run._loading import ShotFacts, left_out, load_shots, resemblance
from lensbench.run._noise_warnings import target_noise_notices
from lensbench.run._readings import BladeReading, Outcome, TargetReading
from lensbench.run._shot_warnings import (
    double_image_ruins,
    exposure_notices,
    mosaic_notices,
    seen_twice,
    sign_notices,
)
from lensbench.run._tile_views import view_tiles
from lensbench.shot import Shot
from lensbench.target.finder import find_tiles
from lensbench.target.layout import Layout
from lensbench.uniform_blocks import read_uniform_blocks


def read_target(
    folder: Path, entry: ShotEntry, layout: Layout, darks: Sequence[MeanDark], threads: int
) -> Outcome:
    """Measure every edge of one target shot.

    Parameters
    ----------
    folder : Path
        The session's folder.
    entry : ShotEntry
        The shot.
    layout : Layout
        The target that it shows.
    darks : sequence of MeanDark
        The session's dark frames; those exposed like the shot are subtracted from the light in the dark tiles.
    threads : int
        How many threads share the edges.

    Returns
    -------
    Outcome
    """
    loaded, notices, digests = load_shots(folder, [entry])
    reading = None
    for _, shot in loaded:
        reading, more = _target_reading(entry, shot, layout, darks, threads)
        notices += more
    return Outcome(reading, notices, digests)


def _target_reading(
    entry: ShotEntry, shot: Shot, layout: Layout, darks: Sequence[MeanDark], threads: int
) -> tuple[TargetReading | None, list[Notice]]:
    found = find_tiles(shot, layout)
    notices = [Notice("tiles", entry.file, f"{entry.file}: {note}") for note in found.notes]
    if len(found.column) == 0:
        other = resemblance(shot, entry)
        text = f"{entry.file}: shows no tile of the target{other}."
        # How to shoot a target better is no help where the shot shows something else.
        return None, [*(notices if not other else []), left_out(entry.file, text)]
    places = tile_edges(found)
    responses = measure_edges(shot, places, threads=threads)
    notices += exposure_notices(shot, entry.file, responses)
    if not any(response.measured.any() for response in responses.values()):
        reason = _most_common_reason(responses[shot.reference])
        return None, [*notices, left_out(entry.file, f"{entry.file}: no edge can be measured ({reason}).")]
    if found.mirrored:
        text = f"{entry.file}: shows the target from its back (mirrored). The figures hold; turn a film over, "
        notices.append(Notice("mirrored", entry.file, f"{text}or check that no mirror stands in the way."))
    signs = assess_shot(shot, places, responses)
    if signs.double_image is not None and double_image_ruins(signs):
        return None, [*notices, left_out(entry.file, f"{entry.file}: {seen_twice(signs.double_image)}")]
    blocks = read_uniform_blocks(shot)
    noise = assess_noise(blocks, find_filter(shot, blocks))
    notices += mosaic_notices(shot, entry.file)
    notices += [*sign_notices(signs, entry.file), *target_noise_notices(noise, signs, entry.file)]
    fitting = fitting_darks(shot, darks)
    reading = TargetReading(
        entry=entry,
        facts=ShotFacts.of(shot),
        responses=responses,
        reference=shot.reference,
        found=found,
        signs=signs,
        noise_signs=noise,
        dark_tiles=read_dark_tiles(shot, found, responses[shot.reference], fitting.shots),
        darks=fitting.files,
        views=view_tiles(entry.file, shot, found, responses[shot.reference]),
        noise=(blocks,),
    )
    return reading, notices


def _most_common_reason(response: EdgeResponses) -> str:
    """Why most of the edges that have no figure have none."""
    reasons, counts = np.unique(response.reason[~response.measured], return_counts=True)
    return str(reasons[np.argmax(counts)]) if len(reasons) else ""


def read_blade(folder: Path, entry: ShotEntry, threads: int) -> Outcome:
    """Measure every clean straight edge of one blade shot; parameters and results are as for `read_target`."""
    loaded, notices, digests = load_shots(folder, [entry])
    reading = None
    for _, shot in loaded:
        reading, more = _blade_reading(entry, shot, threads)
        notices += more
    return Outcome(reading, notices, digests)


def _blade_reading(entry: ShotEntry, shot: Shot, threads: int) -> tuple[BladeReading | None, list[Notice]]:
    responses, refused = free_responses(shot, threads)
    if not len(responses[shot.reference]):
        commonest = Counter(line.reason for line in refused).most_common(1)
        reason = f" ({commonest[0][0]})" if commonest else ""
        text = f"{entry.file}: shows no clean straight edge{reason}{resemblance(shot, entry)}."
        return None, [left_out(entry.file, text)]
    return BladeReading(entry, ShotFacts.of(shot), responses, shot.reference), []
