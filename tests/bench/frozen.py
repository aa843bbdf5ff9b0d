"""Whether reports still say what they said: small sessions kept with their reports, measured again later.

Run by hand::

    python -m tests.bench.frozen keep FOLDER [SESSION …]
    python -m tests.bench.frozen compare FOLDER [SESSION …] [--within 0.05] [--plain 2e-5]

`keep` takes the shots of `tests.bench.frozen_sessions`, measures them, and keeps both in a folder a session.
`compare` measures the same shots again and lists every key of the report that differs: figures first, by how far
they moved in parts of their interval's half-width, the farthest on top; then all else, old -> new. Each session's
last line sums it up. Exit code 1 where anything differs but by its name: kept reports of the earlier format are
read under the names of today.

With `--within`, figures may move by that part of their half-width, and plain numbers, which have none, by
`--plain` of their size (of a list's largest). Words may never differ. Keep and compare on one machine: sums are
rounded as its processor takes them.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from lensbench.findings import encode_report
from lensbench.findings.renamed import EARLIER_FORMAT, with_present_names
from lensbench.loaders import load_session
from lensbench.run import measure_session
from tests.bench.frozen_sessions import SESSIONS

RENAMED_WORDS = {"lensbench-report/1": "lensbench-report/2"}
"""The same for whole texts that are values, such as a code: old -> new."""

UNCOUNTED = ("session", "shots", "files")
"""Keys at the report's top that are not compared: the session's mark tells where its folder lies."""

NAMING = (
    *("f_number", "aperture", "lens_turn_deg", "setup", "shot", "code", "what", "panel"),
    *("column", "row", "leg", "zone", "channel", "direction"),
)
"""Keys that tell a table's rows apart. Rows that they don't tell apart go by their place."""


# -- differences of two reports -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Difference:
    """One key that differs.

    `shift` is how far a figure moved in half-widths, `share` how far plain numbers did as a share of their size;
    None where it is another kind of difference.
    """

    path: str
    text: str
    shift: float | None = None
    share: float | None = None

    def allowed(self, within: float | None, plain: float) -> bool:
        """Whether it is small enough; nothing is where `within` is None."""
        if within is None:
            return False
        if self.shift is not None:
            return self.shift <= within
        return self.share is not None and self.share <= plain


def differences(old: Any, new: Any, path: str = "") -> Iterator[Difference]:
    """All keys that differ between two reports, or parts of them, as read from JSON."""
    if old == new:
        return
    if _is_figure(old) and _is_figure(new) and old["unit"] == new["unit"]:
        yield _figures_apart(old, new, path)
    elif isinstance(old, dict) and isinstance(new, dict):
        yield from _tables_apart(old, new, path)
    elif _alike_in_shape(_numbers(old), _numbers(new)):
        yield _numbers_apart(old, new, path)
    elif isinstance(old, list) and isinstance(new, list):
        yield from _rows_apart(old, new, path)
    else:
        yield Difference(path, f"{_brief(old)} -> {_brief(new)}")


def _is_figure(value: Any) -> bool:
    return isinstance(value, dict) and value.keys() == {"value", "low", "high", "unit"}


def _figures_apart(old: dict, new: dict, path: str) -> Difference:
    """The farthest move of value, low and high, over the old half-width."""
    half = (old["high"] - old["low"]) / 2
    moved = max(abs(new[key] - old[key]) for key in ("value", "low", "high"))
    texts = (f"{f['value']:.6g} ({f['low']:.6g} to {f['high']:.6g})" for f in (old, new))
    return Difference(path, f"{' -> '.join(texts)} {old['unit']}".rstrip(), moved / half if half > 0 else math.inf)


def _tables_apart(old: dict, new: dict, path: str) -> Iterator[Difference]:
    """Of two tables: what only one has, and the differences of what both have."""
    for key in dict.fromkeys([*old, *new]):
        here = f"{path}.{key}" if path and not key.startswith("[") else f"{path}{key}"
        if key not in new:
            yield Difference(here, f"only before: {_brief(old[key])}")
        elif key not in old:
            yield Difference(here, f"only now: {_brief(new[key])}")
        else:
            yield from differences(old[key], new[key], here)


def _rows_apart(old: list, new: list, path: str) -> Iterator[Difference]:
    """Of two lists: rows with the same name are held against each other, and their order."""
    names = _names(old), _names(new)
    if any(len(set(own)) < len(own) for own in names):
        names = tuple([f"[{place}]" for place in range(len(rows))] for rows in (old, new))
    before, now = (dict(zip(own, rows, strict=True)) for own, rows in zip(names, (old, new), strict=True))
    yield from _tables_apart(before, now, path)
    if [name for name in before if name in now] != [name for name in now if name in before]:
        yield Difference(path, "the rows stand in another order")


def _names(rows: list) -> list[str]:
    """What tells rows apart."""
    keyed = [[row[key] for key in NAMING if row.get(key) is not None] for row in rows if isinstance(row, dict)]
    return ["[" + ", ".join(map(str, values)) + "]" for values in keyed] if len(keyed) == len(rows) else [""] * 2


def _numbers(value: Any) -> NDArray[np.float64] | None:
    """A number, or nested lists of numbers, as an array with NaN for null; None for anything else."""
    leaves = [value]
    while any(isinstance(leaf, list) for leaf in leaves):
        leaves = [part for leaf in leaves for part in (leaf if isinstance(leaf, list) else [leaf])]
    if not all(leaf is None or isinstance(leaf, int | float) for leaf in leaves):
        return None
    try:
        return np.array(value, float)
    except ValueError:
        # Lists of unequal lengths.
        return None


def _alike_in_shape(old: NDArray | None, new: NDArray | None) -> bool:
    """Whether both are numbers, as many, and known in the same places."""
    return (
        old is not None
        and new is not None
        and old.shape == new.shape
        and np.array_equal(np.isnan(old), np.isnan(new))
    )


def _numbers_apart(old: Any, new: Any, path: str) -> Difference:
    before, now = _numbers(old), _numbers(new)
    apart = np.nan_to_num(np.abs(now - before))
    share = float(apart.max() / np.nanmax(np.maximum(np.abs(before), np.abs(now))))
    text = f"{old} -> {new}"
    if before.ndim:
        text = f"{np.count_nonzero(apart)} of {apart.size} numbers differ, by up to {apart.max():.3g}"
    return Difference(path, f"{text} ({share:.1g} of their size)", share=share)


def _brief(value: Any) -> str:
    """A value as it stands in the report; of a whole table its beginning."""
    text = json.dumps(value, ensure_ascii=False)
    return text if isinstance(value, str) or len(text) <= 120 else f"{text[:119]}…"


def renamed(value: Any) -> Any:
    """A kept report under today's names."""
    if isinstance(value, dict):
        value = with_present_names(value) if value.get("format") == EARLIER_FORMAT else value
        return {key: renamed(part) for key, part in value.items()}
    if isinstance(value, list):
        return [renamed(part) for part in value]
    return RENAMED_WORDS.get(value, value) if isinstance(value, str) else value


# -- keeping and comparing ------------------------------------------------------------------------------------


def measured(shots: Path) -> bytes:
    """The report of a session, one shot after the other.

    How linear algebra rounds hangs on how many threads it takes.
    """
    with threadpool_limits(1, user_api="blas"):
        return encode_report(measure_session(load_session(shots), workers=1))


def keep(folder: Path, names: list[str]) -> bool:
    """Take and measure sessions and keep both; what is kept already is never replaced."""
    there = [str(folder / name) for name in names if (folder / name).exists()]
    if there:
        sys.exit(f"{', '.join(there)}: is kept already. Remove it first, or name another folder.")
    for name in names:
        start = time.perf_counter()
        SESSIONS[name](folder / name / "shots")
        taken = time.perf_counter()
        report = measured(folder / name / "shots")
        (folder / name / "report.json").write_bytes(report)
        seconds = f"taken in {taken - start:.0f} s, measured in {time.perf_counter() - taken:.0f} s"
        print(f"{name}: kept, {seconds}", flush=True)
    return True


def compare(folder: Path, names: list[str], within: float | None, plain: float) -> bool:
    """Measure kept sessions again and print what differs; gives back whether all of it is allowed."""
    for name in names:
        if not (folder / name / "report.json").is_file():
            sys.exit(f"{folder / name}: is not kept here. Run: python -m tests.bench.frozen keep {folder} {name}")
    fine = [_compared(folder / name, within, plain) for name in names]
    return all(fine)


def _compared(session: Path, within: float | None, plain: float) -> bool:
    old = renamed(json.loads((session / "report.json").read_bytes()))
    new = json.loads(measured(session / "shots"))
    for report in (old, new):
        for key in UNCOUNTED:
            report.pop(key, None)
    found = list(differences(old, new))
    figures = sorted((d for d in found if d.shift is not None), key=lambda d: -d.shift)
    others = [d for d in found if d.shift is None]
    for one in figures:
        print(f"  {one.shift:9.3g} half-widths  {one.path}: {one.text}")
    for one in others:
        print(f"  {one.path}: {one.text}")
    fine = all(one.allowed(within, plain) for one in found)
    worst = f"{figures[0].shift if figures else 0:.3g} half-widths"
    counts = f"differs ({len(figures)} figures, {len(others)} others{', all within the limits' if fine else ''})"
    print(f"{session.name}: {counts if found else 'identical'}, worst shift {worst}", flush=True)
    return fine


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("what", choices=("keep", "compare"))
    reader.add_argument("folder", type=Path)
    reader.add_argument("sessions", nargs="*", metavar="SESSION", help=f"of {', '.join(SESSIONS)}; all if none")
    reader.add_argument("--within", type=float, help="how far figures may move, in half-widths")
    reader.add_argument("--plain", type=float, default=2e-5, help="with --within: the share for plain numbers")
    wanted = reader.parse_args()
    unknown = set(wanted.sessions) - SESSIONS.keys()
    if unknown:
        reader.error(f"no session {', '.join(sorted(unknown))}; there are {', '.join(SESSIONS)}")
    names = wanted.sessions or list(SESSIONS)
    if wanted.what == "keep":
        fine = keep(wanted.folder, names)
    else:
        fine = compare(wanted.folder, names, wanted.within, wanted.plain)
    sys.exit(not fine)


if __name__ == "__main__":
    main()
