"""The same samples under two entries of the session file: a file copied or listed by mistake."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from lensbench.findings import Notice
from lensbench.formatting import aperture_name
from lensbench.loaders.session_keys import ShotEntry
from lensbench.run._loading import left_out, same_picture
from lensbench.run._readings import Outcome


def refuse_same_pictures(outcomes: Sequence[Outcome], shots: Sequence[ShotEntry]) -> list[Outcome]:
    """The outcomes without the readings of shots whose samples stand under two entries, and with notices of them.

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
            notices |= _notices([entries[name] for name in same])
    return [_without(outcome, notices) for outcome in outcomes]


def _notices(same: Sequence[ShotEntry]) -> dict[str, Notice]:
    """What to say of entries with the same samples, by the files that are left out."""
    first, *others = same
    if all(_said(one) == _said(first) for one in others):
        return {one.file: same_picture(one.file, first.file) for one in others}
    listed = " and ".join(f"{one.file} ({_in_words(one)})" for one in same)
    text = (
        f"{listed} hold the same picture, to the last sample, so at most one of these entries is right. Copy the "
        "missing shot from the card, or mend file = … in session.toml."
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
