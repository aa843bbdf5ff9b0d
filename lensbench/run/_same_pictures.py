"""One exposure under two entries of the session file: a file copied, or stored anew, or listed by mistake."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

from lensbench.findings import Notice
from lensbench.formatting import aperture_name
from lensbench.loaders.session_keys import ShotEntry
from lensbench.run._loading import STORED_ANEW, TO_THE_LAST_SAMPLE, left_out, same_picture
from lensbench.run._readings import Outcome
from lensbench.run._stored_anew import is_stored_anew


def refuse_same_pictures(outcomes: Sequence[Outcome], shots: Sequence[ShotEntry]) -> list[Outcome]:
    """The outcomes without the readings of shots whose exposure stands under two entries, with notices of them.

    Of entries that say the same of one picture the first counts. Where they don't, only one can be right, and
    nothing tells which, so that none counts.

    Parameters
    ----------
    outcomes : sequence of Outcome
        Of the session's shots.
    shots : sequence of ShotEntry
        The session's.

    Returns
    -------
    list of Outcome
    """
    entries = {entry.file: entry for entry in shots}
    names: dict[str, list[str]] = {}
    for outcome in outcomes:
        for digest in outcome.digests:
            names.setdefault(digest.sha256, []).append(digest.file)
    notices: dict[str, Notice] = {}
    for same in names.values():
        if len(same) > 1:
            notices |= _notices([entries[name] for name in same], TO_THE_LAST_SAMPLE)
    for first, second in _stored_anew(outcomes):
        if not {first, second} & set(notices):
            notices |= _notices([entries[first], entries[second]], STORED_ANEW)
    return [_without(outcome, notices) for outcome in outcomes]


def _stored_anew(outcomes: Sequence[Outcome]) -> Iterator[tuple[str, str]]:
    """Pairs of files that hold one exposure, whatever was done to its numbers."""
    readings = [outcome.reading for outcome in outcomes if outcome.reading is not None]
    for one, other in combinations(readings, 2):
        first, second = one.facts.sample, other.facts.sample
        if first is not None and second is not None and is_stored_anew(first, second):
            yield one.entries[0].file, other.entries[0].file


def _notices(same: Sequence[ShotEntry], again: str) -> dict[str, Notice]:
    """What to say of entries of one exposure, by the files that are left out."""
    first, *others = same
    if all(_said(one) == _said(first) for one in others):
        return {one.file: same_picture(one.file, first.file, again) for one in others}
    listed = " and ".join(f"{one.file} ({_in_words(one)})" for one in same)
    text = (
        f"{listed} hold the same picture{again}, so at most one of these entries is right. Copy the missing shot "
        "from the card, or mend file = … in session.toml."
    )
    return {one.file: left_out(one.file, text) for one in same}


def _said(entry: ShotEntry) -> tuple:
    """Everything that an entry says of its shot but the file's name."""
    return tuple(getattr(entry, name) for name in entry.__struct_fields__ if name != "file")


def _in_words(entry: ShotEntry) -> str:
    parts = (
        entry.shows,
        aperture_name(entry.f_number, entry.aperture) if entry.f_number or entry.aperture else None,
        f"rail at {entry.rail_mm:g} mm" if entry.rail_mm is not None else None,
        f"lens turned {entry.lens_turn_deg:g}°" if entry.lens_turn_deg else None,
        f"setup {entry.setup}" if entry.setup != 1 else None,
        f"panel {entry.panel}" if entry.panel != 1 else None,
    )
    return ", ".join(part for part in parts if part)


def _without(outcome: Outcome, notices: dict[str, Notice]) -> Outcome:
    said = [notices[digest.file] for digest in outcome.digests if digest.file in notices]
    if not said:
        return outcome
    return replace(outcome, reading=None, notices=[*outcome.notices, *said])
