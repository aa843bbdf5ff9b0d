"""Files that people list by mistake, or that the card or the camera spoilt."""

from __future__ import annotations

from pathlib import Path

import imageio.v3 as iio
import numpy as np
import skimage.data
import tifffile


def _truncated(path: Path, good: Path) -> None:
    path.write_bytes(good.read_bytes()[:200_000])


def _photograph(path: Path, good: Path) -> None:
    iio.imwrite(path, skimage.data.camera())


def _even(value: float):
    def write(path: Path, good: Path) -> None:
        tifffile.imwrite(path, np.full((600, 900), value * 65535, np.uint16))

    return write


def _tiny(path: Path, good: Path) -> None:
    tifffile.imwrite(path, np.random.default_rng(1).integers(0, 60000, (10, 10), dtype=np.uint16))


def _folder(path: Path, good: Path) -> None:
    path.mkdir()


def _text(path: Path, good: Path) -> None:
    path.write_text("Dear lens, how are you?\n")


def _nan(path: Path, good: Path) -> None:
    samples = np.full((600, 900), 0.5, np.float32)
    samples[100:110, 200:210] = np.nan
    tifffile.imwrite(path, samples)


def _empty(path: Path, good: Path) -> None:
    path.write_bytes(b"")


BAD_FILES = {
    "short.dng": _truncated,
    "holiday.png": _photograph,
    "white.tif": _even(1.0),
    "black.tif": _even(0.0),
    "tiny.tif": _tiny,
    "x.dng": _folder,
    "x.tif": _text,
    "nan.tif": _nan,
    "empty.dng": _empty,
}
"""By name, what writes each (given where it goes, and a whole raw file)."""
