"""The gauntlet's command line: ``python -m tests.bench.gauntlet [CAUSE …] [options]``.

A row is a cause at a strength: how many of its shots came out right, warned of, refused, such as no shot can
reveal (with the guide's sentence on it) and WRONG, how far the figure farthest off lies from the truth, in
half-widths, and what was said. ``--clean 200`` counts the clean shots
that are accused instead; ``--search CAUSE`` looks for the strength at which figures move by three half-widths, on
seeds of its own; ``--jobs`` shares the work among processes. Bars: no WRONG; at most 1 % of clean shots accused.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator

import joblib

from tests.bench.gauntlet.case import FIRST_SEED, HIDDEN, OUTCOMES, Cause, Scored, score
from tests.bench.gauntlet.causes import CAUSES
from tests.bench.gauntlet.clean_shots import accusations

SEARCH_SEED = FIRST_SEED - 5000


def main() -> None:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("causes", nargs="*", metavar="CAUSE", help="all of them otherwise")
    parser.add_argument("--clean", type=int, default=0, help="so many clean shots instead")
    parser.add_argument("--first", type=int, default=0, help="number of the first clean shot")
    parser.add_argument("--search", action="store_true", help="find the strength that moves figures")
    parser.add_argument("--shots", type=int, default=1, help="shots of each cause and strength")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--texts", action="store_true", help="print every warning in full")
    options = parser.parse_args()
    unknown = set(options.causes) - {cause.name for cause in CAUSES}
    if unknown:
        parser.error(f"no such cause: {', '.join(sorted(unknown))}; there are {', '.join(c.name for c in CAUSES)}")
    chosen = [cause for cause in CAUSES if cause.name in options.causes or not options.causes]
    if options.clean:
        _clean(options.clean, options.first, options.jobs)
    elif options.search:
        for cause in chosen:
            _search(cause, options.texts)
    else:
        _table(chosen, options.shots, options.jobs, options.texts)


def _table(causes: list[Cause], shots: int, jobs: int, texts: bool) -> None:
    cases = [(cause, strength) for cause in causes for strength in cause.strengths]
    print(f"{'cause':24s}{'strength':>16s}  {'outcome':20s}  off by  figure; what was said")
    totals: Counter = Counter()
    for (cause, strength), scored in zip(cases, _scores(cases, shots, jobs), strict=True):
        totals.update(one.outcome for one in scored)
        _print_row(cause, strength, scored, texts)
    print(", ".join(f"{totals[name]} {name}" for name in OUTCOMES))


def _scores(cases: list[tuple[Cause, float]], shots: int, jobs: int) -> Iterator[list[Scored]]:
    work = (joblib.delayed(_shots)(cause, strength, shots) for cause, strength in cases)
    yield from joblib.Parallel(n_jobs=jobs, return_as="generator")(work)


def _shots(cause: Cause, strength: float, shots: int) -> list[Scored]:
    number = [one.name for one in CAUSES].index(cause.name)
    return [score(cause, strength, FIRST_SEED + 100 * number + shot) for shot in range(shots)]


def _print_row(cause: Cause, strength: float, scored: list[Scored], texts: bool) -> None:
    counts = Counter(one.outcome for one in scored)
    outcome = ", ".join(f"{n} {name}" if len(scored) > 1 else name for name, n in counts.items())
    worst = max((one.worst for one in scored if one.worst), key=lambda off: off.half_widths, default=None)
    seen = f"{worst.half_widths:8.1f}  {worst.name}" if worst else f"{'':8s}"
    named = dict.fromkeys(code for one in scored for code in one.named)
    others = dict.fromkeys(code for one in scored for code in one.others)
    said = " ".join([*named, *(f"({code})" for code in others)])
    print(f"{cause.name:24s}{strength:10.3g} {cause.unit:5s}  {outcome:20s}{seen}; {said}", flush=True)
    if HIDDEN in counts:
        print(f"      the guide: {cause.unrevealed(strength)}")
    for text in dict.fromkeys(text for one in scored for text in one.texts) if texts else ():
        print(f"      {text}")


def _search(cause: Cause, texts: bool) -> None:
    """How far figures move at strengths around those of the table, with other noise."""
    for strength in sorted({s * f for s in cause.strengths for f in (0.5, 1.0)}):
        _print_row(cause, strength, [score(cause, strength, SEARCH_SEED)], texts)


def _clean(shots: int, first: int, jobs: int) -> None:
    work = (joblib.delayed(accusations)(number) for number in range(first, first + shots))
    accused, wrong = 0, 0
    for number, one in enumerate(joblib.Parallel(n_jobs=jobs, return_as="generator")(work), start=first):
        accused += bool(one.named)
        wrong += one.outcome == "WRONG"
        if one.named or one.outcome == "WRONG":
            worst = f"{one.worst.half_widths:.1f} {one.worst.name}" if one.worst else ""
            print(f"clean shot {number}: {one.outcome} {' '.join(one.named)} {worst}", flush=True)
            for text in one.texts:
                print(f"      {text}", flush=True)
        if number % 10 == 9:
            print(
                f"  {number + 1 - first} clean shots: {accused} accused, {wrong} with a wrong figure", flush=True
            )
    print(f"clean shots: {accused} of {shots} accused, {wrong} with a figure off by more than three half-widths")


if __name__ == "__main__":
    main()
