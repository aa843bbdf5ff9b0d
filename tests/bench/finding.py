"""How many tiles are found, how well, and how fast: `python -m tests.bench.finding [shots] [seed]`.

Prints a table for random views of the sheet, single and combined hardships; then what is found on photographs that
show none; then the finder's time on a 24-megapixel frame over the time that LibRaw takes to unpack it.
"""

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import rawpy
import skimage.data

from lensbench.dng import write_dng
from lensbench.target.finder import find_tiles
from lensbench.target.layout import make_layout
from tests.target.drawn_sheets import View, draw, from_other_pictures, score

FINE, COARSE = make_layout((36.0, 24.0), 0.1), make_layout((36.0, 24.0), 0.1, "coarse")
SIZES = [(900, 600), (1500, 1000), (1800, 1200), (2400, 1600), (1600, 1200)]


def random_view(rng: np.random.Generator, hard: str) -> View:
    """A view with one hardship, or with all of `SHARE_OF_ALL`, at the bars' limits and inside."""
    size = SIZES[rng.integers(len(SIZES))]
    # Blur, fringing and the rest are named for a frame 6000 px wide.
    smaller = size[0] / 6000
    how = {"size": size, "seed": int(rng.integers(1 << 30)), "turn_deg": rng.uniform(-10, 10)}
    how["sigma_px"] = 4 * smaller
    chosen = [hard] if hard != "all" else [name for name, share in SHARE_OF_ALL.items() if rng.random() < share]
    for name in chosen:
        how |= CHANGES[name](rng, smaller)
    return View(**how)


def tilted(rng: np.random.Generator, _: float) -> dict:
    turn = rng.uniform(0, 2 * np.pi)
    return {"tilt_deg": (10 * np.cos(turn), 10 * np.sin(turn))}


def distorted(rng: np.random.Generator, _: float) -> dict:
    how = {"radial": rng.uniform(0.5, 1.3), "by_angle": rng.random() < 0.5}
    return how | {"decentre": tuple(rng.normal(0, 0.03, 2))}


CHANGES = {
    "turned": lambda rng, _: {"turn_deg": rng.uniform(-180, 180)},
    "tilted": tilted,
    "distorted": distorted,
    "dark": lambda rng, _: {"falloff_stops": rng.uniform(2, 4)},
    "soft": lambda rng, smaller: {"sigma_px": rng.uniform(6, 12) * smaller},
    "fringed": lambda rng, _: {"fringe_px": rng.uniform(-6, 6)},
    "part": lambda rng, _: {"shift": tuple(rng.uniform(-0.7, 0.7, 2)), "turn_deg": rng.uniform(-180, 180)},
    "far": lambda rng, _: {"reach": rng.uniform(1.2, 1.8)},
    "near": lambda rng, _: {"reach": rng.uniform(0.4, 0.8)},
    "glare": lambda rng, _: {"glare": rng.uniform(0.1, 0.5)},
    "dim": lambda rng, _: {"light": rng.uniform(0.02, 0.1)},
    "mosaics": lambda rng, _: {"kind": ("BGGR", "GRBG", "GBRG", "6x6", "grey", "planes")[rng.integers(6)]},
    "mirrored": lambda rng, _: {"mirrored": True},
}
"""What each hardship changes of a plain view."""

SHARE_OF_ALL = {
    **{"turned": 0.3, "tilted": 1.0, "distorted": 1.0, "dark": 1.0, "soft": 1.0, "fringed": 1.0},
    "mirrored": 0.2,
}
"""How often each hardship is among those of a view with all."""

HARDSHIPS = (*CHANGES, "all")

PHOTOGRAPHS = (
    "astronaut", "brick", "camera", "cat", "cell", "checkerboard", "clock", "coffee", "coins", "colorwheel",
    "grass", "gravel", "horse", "hubble_deep_field", "immunohistochemistry", "logo", "microaneurysms", "moon",
    "motorcycle_left", "page", "retina", "rocket", "text",
)  # fmt: skip


def study(shots: int, seed: int) -> None:
    """Print found over expected and the corners' errors for each hardship."""
    print(
        "hardship   shots  whole found      cut found     wrong  extra"
        "  corner error px: median  99 %  worst  cut worst"
    )
    for hard in HARDSHIPS:
        rng = np.random.default_rng(seed)
        scores = []
        for number in range(shots):
            layout = COARSE if number % 3 == 2 else FINE
            view = random_view(rng, hard)
            paper = None if rng.random() < 0.5 else rng.uniform(5, 40)
            drawn = draw(layout, view, paper)
            one = score(drawn, layout, find_tiles(drawn.shot, layout))
            scores.append(one)
            if one.whole_found < one.whole or one.wrong:
                print("   ", one.whole_found, "of", one.whole, "wrong", one.wrong, "paper", paper, view)
        total = {
            name: sum(getattr(s, name) for s in scores) for name in ("whole", "whole_found", "cut", "cut_found")
        }
        errors, cut = (np.concatenate([getattr(s, name) for s in scores]) for name in ("errors", "cut_errors"))
        print(
            f"{hard:10s} {shots:5d}  {total['whole_found']:5d} of {total['whole']:5d}"
            f"  {total['cut_found']:5d} of {total['cut']:5d}  {sum(s.wrong for s in scores):5d}"
            f"  {sum(s.extra for s in scores):5d}"
            f"  {np.median(errors):24.2f} {np.percentile(errors, 99):5.2f} {errors.max():6.2f}"
            f" {cut.max() if len(cut) else np.nan:10.2f}",
            flush=True,
        )


def other_pictures() -> None:
    """Print how many tiles are found where there are none."""
    for name in PHOTOGRAPHS:
        try:
            picture = (
                skimage.data.stereo_motorcycle()[0] if name == "motorcycle_left" else getattr(skimage.data, name)()
            )
        except (AttributeError, OSError, ValueError, ConnectionError) as error:
            print(f"{name}: not at hand ({type(error).__name__})")
            continue
        grey = picture.astype(float) / (picture.max() or 1)
        grey = grey[..., :3].mean(axis=2) if grey.ndim == 3 else grey
        for turned in (grey, 1 - grey):
            for layout in (FINE, COARSE):
                found = find_tiles(from_other_pictures(turned), layout)
                if len(found.column):
                    print(f"{name}: {len(found.column)} TILES FOUND")
    print("other photographs done")


def speed() -> None:
    """Print the finder's time over LibRaw's for one frame."""
    drawn = draw(FINE, View(size=(6000, 4000), turn_deg=4, sigma_px=2, radial=0.8, falloff_stops=1), finer=2)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.dng"
        write_dng(path, drawn.shot)
        unpack, find = [], []
        for _ in range(7):
            start = time.perf_counter()
            with rawpy.imread(str(path)) as raw:
                raw.raw_image_visible.max()
            unpack.append(time.perf_counter() - start)
            start = time.perf_counter()
            find_tiles(drawn.shot, FINE)
            find.append(time.perf_counter() - start)
    print(
        f"24 megapixels: unpack {min(unpack):.3f} s, find {min(find):.3f} s, ratio {min(find) / min(unpack):.1f}"
    )


if __name__ == "__main__":
    shots = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    study(shots, seed)
    other_pictures()
    speed()
