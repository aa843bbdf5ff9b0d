"""Accuracy of single edges against closed forms, the photons' bound and the published method.

Run by hand: python -m tests.bench.edges [--more 4] [--only figures|tiles|published|curves]. `--more` takes so many
times as many edges. Blur widths are in pixels before the pixel's own; light is the share of full scale that white
takes.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass

import numpy as np

from lensbench.analysers.edge import FREQUENCY, EdgeResponses, measure_edges, tile_edges
from tests import known_edges as known
from tests.analysers.edge.edge_benches import Bench, bench, found_on, slants, truth_of
from tests.bench.edge_bound import best_spreads
from tests.published_method import published_curve, published_mtf50, upright

BARS = """bars: MTF50 bias 0.3 % green, 0.5 % red and blue, spread 0.6 and 1.2 %, worst 4.5 spreads (at white 75 %,
MTF50 0.04 to 0.40); within 2 % below; over the bound 2.0 for MTF50, 1.5 for place; intervals hold 93 to 97 %"""

ELECTRONS, READ, DARK = 30_000.0, 3.0, 0.03
LIGHTS = (0.75, 0.2, 0.05)
CELLS = {
    0.3: (192, 140),
    0.6: (192, 140),
    1.0: (192, 140),
    2.0: (256, 190),
    4.0: (320, 230),
    6.0: (384, 300),
    9.0: (400, 280),
    12.0: (512, 400),
}
"""Blur width: the side of an edge's square and the edge's length, in pixels."""

SHEET = 9
"""Edges a sheet."""


@dataclass(frozen=True)
class Errors:
    """Of many edges: what they are like, and errors of MTF50 (shares) and place (pixels) with what they claim."""

    colour: np.ndarray
    blur: np.ndarray
    light: np.ndarray
    slant: np.ndarray
    sharp: np.ndarray
    sharp_claim: np.ndarray
    place: np.ndarray
    place_claim: np.ndarray
    sharp_bound: np.ndarray
    place_bound: np.ndarray
    sharp_bound_with_tails: np.ndarray
    place_bound_with_tails: np.ndarray

    def take(self, which: np.ndarray) -> Errors:
        return Errors(**{name: getattr(self, name)[which] for name in self.__dataclass_fields__})


def joined(parts: list[Errors]) -> Errors:
    names = Errors.__dataclass_fields__
    return Errors(**{name: np.concatenate([getattr(p, name) for p in parts]) for name in names})


# -- figures of edges -----------------------------------------------------------------------------------------


def bounds_of(made: Bench, k: int, found: EdgeResponses, pattern: np.ndarray, index: int, blur, light):
    """The bounds of edge `k` of a sheet in one colour, from its own samples: flat far out, and with tails."""
    cell = CELLS[blur][0]
    x0, y0 = np.round(made.scene.middle[k] - (cell - 1) / 2).astype(int)
    y, x = np.mgrid[y0 : y0 + cell, x0 : x0 + cell]
    own = pattern[y % pattern.shape[0], x % pattern.shape[1]] == index
    nx, ny = made.scene.normal[k]
    dx, dy = x[own] - made.scene.middle[k, 0], y[own] - made.scene.middle[k, 1]
    distance, along = nx * dx + ny * dy - made.scene.offset[k], -ny * dx + nx * dy
    used = np.abs(along) < np.nanmedian(found.length_px) / 2
    transfer = known.with_pixel(known.gaussian(blur), made.scene.angle[k])
    edge = transfer, made.mtf50[k], distance[used], (ELECTRONS, READ), DARK * light / 0.75, light
    return (*best_spreads(*edge, tails=False), *best_spreads(*edge, tails=True))


def errors_of(blur: float, light: float, sheet: int) -> Errors:
    cell, length = CELLS[blur]
    seed = int(1000 * blur + 7919 * sheet + 100 * light)
    angles = slants(SHEET, seed)
    made = bench(known.gaussian(blur), angles, cell, length, dark=DARK * light / 0.75, white=light, seed=seed)
    parts = []
    for index, (colour, found) in enumerate(made.shown(seed=seed + 1).items()):
        ok = found.measured
        bound = bounds_of(made, 0, found, known.BAYER, index, blur, light)
        n = int(ok.sum())
        parts.append(
            Errors(
                np.full(n, colour),
                np.full(n, blur),
                np.full(n, light),
                np.abs((angles[ok] + 45) % 90 - 45),
                found.mtf50[ok] / made.mtf50[ok] - 1,
                found.mtf50_sigma[ok] / made.mtf50[ok],
                (found.offset_px - made.position)[ok],
                found.offset_sigma_px[ok],
                *(np.full(n, b) for b in bound),
            )
        )
    return joined(parts)


def figures(more: int) -> None:
    sheets = 10 * more
    all_of = joined([errors_of(b, light, s) for b in CELLS for light in LIGHTS for s in range(sheets)])
    print(f"{'':60s}{'over the bound':>15s}{'with tails':>13s}{'intervals hold':>17s}")
    heading = f"{'':26s}{'edges':>6s}{'bias %':>8s}{'spread %':>9s}{'worst':>6s}{'place px':>15s}"
    print(heading + f"{'MTF50':>9s}{'place':>7s}" * 2 + f"{'MTF50 %':>10s}{'place %':>9s}")
    green = all_of.colour == "green"
    for colour, chosen in (("green", green), ("red and blue", ~green)):
        for light in LIGHTS:
            for blur in CELLS:
                row = chosen & (all_of.light == light) & (all_of.blur == blur)
                show(f"{colour}, {light:.2f}, {blur:4.1f} px", all_of.take(row))
    strata = {f"blur {b} px": all_of.blur == b for b in CELLS}
    strata |= {f"white {100 * light:.0f} %": all_of.light == light for light in LIGHTS}
    for low, high in ((2, 6), (6, 15), (15, 30), (30, 43)):
        strata[f"{low}° to {high}° off the rows"] = (all_of.slant >= low) & (all_of.slant < high)
    print()
    for name, which in {**strata, "all": green | ~green}.items():
        show(name, all_of.take(which))


def show(name: str, e: Errors) -> None:
    """One row: bias and spread, worst over spread, and shares of intervals that hold the truth."""
    spread, off = e.sharp.std(), e.sharp.mean()
    ratios = [
        np.sqrt(np.mean((error / bound) ** 2))
        for error, bound in (
            (e.sharp, e.sharp_bound),
            (e.place, e.place_bound),
            (e.sharp, e.sharp_bound_with_tails),
            (e.place, e.place_bound_with_tails),
        )
    ]
    holds = [100 * np.mean(np.abs(a) < 1.96 * b) for a, b in ((e.sharp, e.sharp_claim), (e.place, e.place_claim))]
    print(
        f"{name:26s}{len(e.sharp):6d}{100 * off:+8.2f}{100 * spread:9.2f}{np.abs(e.sharp).max() / spread:6.1f}"
        f"{e.place.mean():+8.4f}{e.place.std():7.4f}"
        f"  {ratios[0]:7.2f}{ratios[1]:7.2f}  {ratios[2]:7.2f}{ratios[3]:7.2f}"
        f"{holds[0]:10.1f}{holds[1]:9.1f}"
    )


# -- whole tiles ----------------------------------------------------------------------------------------------

TILES = {
    "legs of 112 px": (known.gaussian(1.2), 112.0, 200, 0.0),
    "2.5 stops of falloff": (known.gaussian(1.2), 112.0, 200, 2.5),
    "soft, 2.5 stops": (known.gaussian(3.5), 112.0, 200, 2.5),
    "legs of 55 px": (known.gaussian(0.9), 55.0, 98, 1.0),
    "legs of 40 px": (known.gaussian(1.0), 40.0, 72, 1.0),
    "blur too wide for legs": (known.gaussian(8.0), 112.0, 200, 0.0),
    "perfect lens, 2.2 px": (known.airy(2.2), 112.0, 200, 0.0),
    "perfect lens, 4 px": (known.airy(4.0), 112.0, 200, 0.0),
    "perfect lens, 6 px": (known.airy(6.0), 112.0, 200, 0.0),
}
"""Blur, length of the legs and distance of the tiles in pixels, falloff in stops. A perfect lens's px are λN."""


def tiles(more: int) -> None:
    """All edges of 30 tiles, drawn as the last corner of a frame of 3000 × 2000 pixels; base-ISO noise."""
    print(f"{'':22s}{'edges':>6s}{'left out':>9s}{'bias %':>15s}{'spread %':>15s}{'holds %':>8s}{'place':>6s}")
    print(f"{'':37s}{'green':>8s}{'others':>7s}{'green':>8s}{'others':>7s}")
    for name, (transfer, leg, pitch, stops) in TILES.items():
        # What is sharp has no tails and needs finer frequencies than the whole sheet is drawn with.
        draw = known.whole_sheet if name.startswith("perfect") else known.tile_sheet
        sheet = draw(transfer, 6, 5, pitch=pitch, leg=leg)
        y, x = np.indices(sheet.light.shape)
        h2 = ((x + 1500 - x.max()) ** 2 + (y + 1000 - y.max()) ** 2) / (1500**2 + 1000**2)
        places = tile_edges(found_on(sheet))
        truth = truth_of(places, transfer)
        rows = {"green": [], "others": []}
        for seed in range(2 * more):
            shot = known.expose(sheet.light * 2.0 ** (-stops * h2), seed=seed, electrons=ELECTRONS, read=READ)
            for colour, e in measure_edges(shot, places, threads=1).items():
                figures = np.stack([e.mtf50 / truth - 1, e.mtf50_sigma / truth, e.offset_px, e.offset_sigma_px])
                rows["green" if colour == "green" else "others"].append(figures)
        show_tiles(name, *(np.concatenate(r, axis=1) for r in rows.values()))


def show_tiles(name: str, green: np.ndarray, others: np.ndarray) -> None:
    everything = np.concatenate([green, others], axis=1)
    known_ones = everything[:, np.isfinite(everything[0])]
    sharp, sharp_claim, place, place_claim = known_ones
    print(
        f"{name:22s}{everything.shape[1]:6d}{everything.shape[1] - known_ones.shape[1]:9d}"
        f"{100 * np.nanmean(green[0]):+8.2f}{100 * np.nanmean(others[0]):+7.2f}"
        f"{100 * np.nanstd(green[0]):8.2f}{100 * np.nanstd(others[0]):7.2f}"
        f"{100 * np.mean(np.abs(sharp) < 1.96 * sharp_claim):8.1f}"
        f"{100 * np.mean(np.abs(place) < 1.96 * place_claim):6.1f}"
    )


# -- beside the published method ------------------------------------------------------------------------------


def published(more: int) -> None:
    """Root mean square errors of MTF50, no colours, edges 2° to 12° off the rows as that method likes."""
    print(f"{'':22s}{'edges':>6s}{'ours %':>9s}{'published %':>13s}{'± of the ratio':>16s}")
    squares = []
    for light in LIGHTS[:2]:
        for blur in (0.3, 0.6, 1.0, 2.0, 4.0, 6.0):
            pairs = np.concatenate([both_errors(blur, light, s) for s in range(6 * more)])
            squares.append(pairs**2)
            report_pair(f"white {100 * light:2.0f} %, {blur:3.1f} px", pairs)
    scaled = [s / s.mean() for s in squares]
    report_pair("all rows alike", np.sqrt(np.concatenate(scaled)), unit="")


def both_errors(blur: float, light: float, sheet: int) -> np.ndarray:
    cell, length = CELLS[blur]
    seed = int(500 * blur + 104729 * sheet + 100 * light)
    angles = slants(SHEET, seed, steepest=12)
    made = bench(known.gaussian(blur), angles, cell, length, dark=DARK * light / 0.75, white=light, seed=seed)
    shot = made.exposed(known.MONO, seed=seed + 1, electrons=ELECTRONS, read=READ)
    ours = measure_edges(shot, made.places, threads=1)["grey"]
    light_there = shot.samples.astype(float) - 512
    rows, columns = patch_size(cell, length, blur)
    theirs = [
        published_mtf50(upright(light_there, m, n, rows, columns))
        for m, n in zip(made.scene.middle, made.scene.normal, strict=True)
    ]
    off = np.stack([ours.mtf50, np.array(theirs)], axis=1) / made.mtf50[:, None] - 1
    return off[ours.measured]


def patch_size(cell: int, length: float, blur: float) -> tuple[int, int]:
    """Rows and columns for the published method: as long as ours, as wide as the blur and the square ask for."""
    return int(length - 10), min(int(24 * np.hypot(blur, 0.3) + 30), int(0.72 * cell))


def report_pair(name: str, pairs: np.ndarray, unit: str = "%") -> None:
    ours, theirs = np.sqrt(np.mean(pairs**2, axis=0)) * (100 if unit else 1)
    rng = np.random.default_rng(0)
    again = pairs[rng.integers(0, len(pairs), (400, len(pairs)))]
    ratio = np.sqrt(np.mean(again[..., 0] ** 2, axis=1) / np.mean(again[..., 1] ** 2, axis=1))
    verdict = "better" if ours < theirs else "no worse" if ours / theirs - 1 < ratio.std() else "WORSE"
    print(f"{name:22s}{len(pairs):6d}{ours:9.3f}{theirs:13.3f}{ours / theirs:9.2f} ± {ratio.std():.2f}  {verdict}")


# -- whole curves ---------------------------------------------------------------------------------------------

SHAPES = {
    "gaussian": known.gaussian(1.0),
    "perfect lens": known.airy(2.2),
    "perfect lens, soft": known.airy(8.0),
    "out of focus, ring": known.product(known.gaussian(0.5), known.disc(2.2)),
    "coma": known.comatic(0.7, 0.6),
    "motion": known.product(known.gaussian(0.6), known.motion(2.4)),
    "halo": known.mixture((0.85, known.gaussian(0.8)), (0.15, known.gaussian(4.0))),
}


def curves(more: int) -> None:
    """Largest error of the curve up to 0.5 cy/px without noise and the mean one of shots with it; MTF50; holds."""
    frequency = np.linspace(0, 0.5, 201)
    print(f"{'':22s}{'largest error of the curve':>30s}{'with noise':>20s}{'MTF50 %':>20s}{'hold %':>8s}")
    print(f"{'':22s}{'ours':>20s}{'published':>10s}{'ours':>10s}{'published':>10s}{'bias':>12s}{'spread':>8s}")
    for name, transfer in SHAPES.items():
        rows = [curve_errors(transfer, frequency, k) for k in range(2 * more)]
        clean, clean_theirs, noisy, noisy_theirs, off, held = (np.concatenate(c) for c in zip(*rows, strict=True))
        print(
            f"{name:22s}{clean.max():20.4f}{clean_theirs.max():10.4f}{noisy.mean():10.4f}{noisy_theirs.mean():10.4f}"
            f"{100 * off.mean():+12.2f}{100 * off.std():8.2f}{100 * held.mean():8.1f}"
        )


def curve_errors(transfer: known.Transfer, frequency: np.ndarray, seed: int) -> tuple[np.ndarray, ...]:
    cell, length = 320, 230
    made = bench(transfer, slants(SHEET, 50 + seed, steepest=12), cell, length, seed=seed)
    truth = np.array([np.abs(known.with_pixel(transfer, a)(frequency)) for a in made.scene.angle])
    rows, columns = int(length - 10), int(0.6 * cell)
    result = []
    for noise in (None, seed + 3):
        shot = made.exposed(known.MONO, seed=noise)
        found = measure_edges(shot, made.places, threads=1)["grey"]
        light = shot.samples.astype(float) - 512
        ours = np.array([np.interp(np.sqrt(frequency), np.sqrt(FREQUENCY), m) for m in found.mtf])
        theirs = np.array(
            [
                published_curve(upright(light, m, n, rows, columns), frequency)
                for m, n in zip(made.scene.middle, made.scene.normal, strict=True)
            ]
        )
        result += [np.abs(a - truth).max(axis=1) for a in (ours, theirs)]
    off = found.mtf50 / made.mtf50 - 1
    return *result, off, np.abs(found.mtf50 - made.mtf50) < 1.96 * found.mtf50_sigma


PARTS = {"figures": figures, "tiles": tiles, "published": published, "curves": curves}


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--more", type=int, default=1, help="so many times as many edges")
    reader.add_argument("--only", choices=PARTS)
    wanted = reader.parse_args()
    for name, part in PARTS.items():
        if wanted.only in (None, name):
            start = time.process_time()
            part(wanted.more)
            print(f"({time.process_time() - start:.0f} s of processor time)\n")
    print(BARS)


if __name__ == "__main__":
    main()
