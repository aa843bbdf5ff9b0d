"""JPEG and PNG pictures to shots: figures from them don't compare with those from raw."""

from __future__ import annotations

import io
import warnings
from dataclasses import replace
from pathlib import Path

import imagecodecs
import imageio.v3 as imageio
import numpy as np
import tifffile
from numpy.typing import NDArray

from lensbench.errors import BenchError
from lensbench.loaders.encoding import known_encoding
from lensbench.loaders.opening import PNG, check_size, read_head
from lensbench.loaders.planes import TOUCHED_UP, picture_shot
from lensbench.loaders.recorded import exposure_of_tiff
from lensbench.shot import Exposure, Shot


def load_rendered(path: str | Path, encoding: str | None = None) -> Shot:
    """Load a JPEG or PNG in linear light, marked as incomparable with raw.

    Parameters
    ----------
    path : path
        A grey or RGB picture; an alpha plane is left out.
    encoding : {'linear', 'srgb'}, optional
        How the numbers follow the light; else as the embedded profile shows, and sRGB where there is none.

    Raises
    ------
    BenchError
        If the file can't be read, is damaged, or isn't grey or RGB.
    """
    path = Path(path)
    head = read_head(path)
    kind = "PNG" if head.startswith(PNG) else "JPEG"
    try:
        with warnings.catch_warnings():
            # Of a damaged EXIF block what can be read is read.
            warnings.simplefilter("ignore")
            about = imageio.immeta(path, exclude_applied=False)
        check_size(path.name, *about["shape"])
        if about["mode"] not in ("L", "LA", "RGB", "RGBA") and not about["mode"].startswith("I;16"):
            raise BenchError(f"{path.name}: is a {kind} of the kind {about['mode']}. Export it as grey or RGB.")
        # imageio brings 16-bit colour PNGs down to 8 bits.
        samples = imagecodecs.png_decode(path.read_bytes()) if kind == "PNG" else imageio.imread(path)
    except BenchError:
        raise
    except Exception as error:
        # The decoders raise errors of many kinds on damaged files.
        raise BenchError(
            f"{path.name}: is a damaged {kind} ({error or type(error).__name__}). Copy it from the card again."
        ) from None
    told = known_encoding(path.name, encoding, about.get("icc_profile")) or "srgb"
    shot = picture_shot(
        path.name, _without_alpha(samples), told, 8 * samples.itemsize, _exposure(about.get("exif"))
    )
    return replace(shot, incomparable=f"is a {kind}: {TOUCHED_UP}")


def _without_alpha(samples: NDArray) -> NDArray:
    """Grey (height, width) or red, green and blue (height, width, 3)."""
    if samples.ndim == 2:
        return samples
    return np.ascontiguousarray(samples[:, :, 0] if samples.shape[2] < 3 else samples[:, :, :3])


def _exposure(exif: bytes | None) -> Exposure:
    """The exposure facts of an EXIF block, which is a TIFF without a picture."""
    if not exif:
        return Exposure()
    try:
        with tifffile.TiffFile(io.BytesIO(exif.removeprefix(b"Exif\0\0"))) as tiff:
            return exposure_of_tiff(tiff)
    except Exception:
        # As with raw files: what can't be made sense of stays unknown.
        return Exposure()
