"""How often `compare` calls a change: between setups of one build, and between builds that differ by so much.

Run by hand: python -m tests.bench.comparing [--pairs 400]
"""

from __future__ import annotations

import argparse

import numpy as np
from scipy import stats

from lensbench.verdicts.comparison import compare_builds
from tests.verdicts.comparison.drawn_builds import Spread, drawn_report

SPREADS = {
    "refocused by hand": Spread(),
    "mostly focus": Spread(common=5.0, slope=0.5, own=0.3),
    "mostly squareness": Spread(common=0.5, slope=4.0, own=0.3),
    "each zone by itself": Spread(common=0.3, slope=0.3, own=3.0),
    "noise alone": Spread(common=0.0, slope=0.0, own=0.0, noise=1.0),
}
SETUPS = ((2, 2), (3, 3), (5, 5), (2, 4), (1, 3))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=400)
    pairs = parser.parse_args().pairs
    print(
        f"{'setups vary by':22}{'setups':>8}{'any change called, same build, %':>34}{'3 x smallest called, %':>24}"
    )
    for name, spread in SPREADS.items():
        for setups in SETUPS:
            generator = np.random.default_rng([181, *setups])
            called = sum(_any(generator, setups, spread) for _ in range(pairs))
            power = np.mean([_called(generator, setups, spread) for _ in range(pairs // 4)])
            print(
                f"{name:22}{setups[0]:>5}+{setups[1]}{100 * called / pairs:>34.1f}{100 * power:>24.0f}", flush=True
            )


def _any(generator: np.random.Generator, setups: tuple[int, int], spread: Spread) -> bool:
    (change,) = compare_builds([drawn_report(generator, count, spread) for count in setups]).changes
    return any(one.counts for part in change.apertures for one in (*part.headlines, *part.zones))


def _called(generator: np.random.Generator, setups: tuple[int, int], spread: Spread) -> bool:
    """Whether the centre's change of three times the smallest difference (from the true spread) is called."""
    sigma = np.sqrt(spread.common**2 + spread.own**2 + spread.noise**2) / 100
    free, family = sum(setups) - 2, 16
    smallest = stats.t.ppf(1 - 0.05 / (2 * family), free) * sigma * np.sqrt(1 / setups[0] + 1 / setups[1])
    reports = [
        drawn_report(generator, count, spread, sharper=times)
        for count, times in zip(setups, (1.0, np.exp(3 * smallest)), strict=True)
    ]
    (change,) = compare_builds(reports).changes
    return any(
        one.counts for one in change.apertures[0].headlines if (one.what, one.part) == ("sharpness", "centre")
    )


if __name__ == "__main__":
    main()
