"""TIFF pictures to shots in linear light."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import tifffile
from numpy.typing import NDArray

from lensbench.errors import BenchError
from lensbench.loaders.encoding import EncodingUnknown, known_encoding
from lensbench.loaders.opening import check_size, read_head
from lensbench.loaders.planes import picture_shot
from lensbench.loaders.recorded import all_pages, exposure_of_tiff, missing_bytes
from lensbench.shot import Shot

_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB = 0, 1, 2

_SAMPLE_TYPES = {1: "whole numbers", 3: "floating point"}
"""SampleFormat codes that are read."""


def load_tiff(path: str | Path, encoding: str | None = None) -> Shot:
    """Load a grey or RGB picture from a TIFF.

    Parameters
    ----------
    path : path
        8 or 16 bit or floating point, in strips or tiles, planes together or apart, compressed or not. An alpha
        plane is left out.
    encoding : {'linear', 'srgb'}, optional
        How the numbers follow the light; else the embedded profile must show it.

    Returns
    -------
    Shot
        Linear numbers stay as stored; sRGB is decoded to floating point, 0 to 1.

    Raises
    ------
    BenchError
        If the file can't be read, is damaged, holds something else than a grey or RGB picture or numbers that are
        none, or if nobody says how its numbers follow the light.
    """
    path = Path(path)
    read_head(path)
    with _opened(path) as tiff:
        page = max(all_pages(tiff.pages), key=lambda p: p.imagewidth * p.imagelength)
        _check_kind(path.name, page, tiff.filehandle.size)
        told = known_encoding(path.name, encoding, page.iccprofile)
        if told is None:
            raise EncodingUnknown(
                f'{path.name}: does not say how its numbers relate to the light. Add encoding = "linear" (in '
                'proportion to the light) or encoding = "srgb" (made for viewing) to its [[shot]] in '
                "session.toml."
            )
        samples = _samples(page)
        exposure = exposure_of_tiff(tiff)
        bits = page.bitspersample
    return picture_shot(path.name, samples, told, bits, exposure)


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[tifffile.TiffFile]:
    """The file opened by tifffile; whatever it raises while it is open as a sentence."""
    try:
        with tifffile.TiffFile(path) as tiff:
            yield tiff
    except BenchError:
        raise
    except Exception as error:
        # tifffile and its codecs raise errors of many kinds on damaged files.
        raise BenchError(
            f"{path.name}: is damaged or no TIFF that can be read ({error or type(error).__name__}). Export it "
            "again."
        ) from None


def _check_kind(name: str, page: tifffile.TiffPage, file_size: int) -> None:
    """Refuse what isn't a whole grey or RGB picture of numbers that are read here."""
    check_size(name, page.imagewidth, page.imagelength, page.samplesperpixel)
    if page.photometric not in (_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB):
        kind = getattr(page.photometric, "name", page.photometric)
        raise BenchError(f"{name}: is a TIFF of the kind {kind}. Export it as grey or RGB.")
    if page.photometric == _RGB and page.samplesperpixel < 3:
        raise BenchError(f"{name}: says that it is RGB, but has too few planes. It is damaged; export it again.")
    if (
        page.imagedepth > 1
        or page.dtype is None
        or page.sampleformat not in _SAMPLE_TYPES
        or page.bitspersample < 8
    ):
        raise BenchError(
            f"{name}: has samples of a kind that cannot be used ({page.bitspersample} bits, SampleFormat "
            f"{page.sampleformat}). Export it with 16 bits or floating point."
        )
    missing = missing_bytes(page, file_size)
    if missing:
        raise BenchError(f"{name}: is cut short by {missing:,} bytes. Export or copy it again.")
    # tifffile would fill what isn't there with zeros.
    chunks, there = math.prod(page.chunked), np.count_nonzero(page.databytecounts)
    if there < chunks:
        raise BenchError(
            f"{name}: holds only {there:,} of its {chunks:,} strips or tiles. Export or copy it again."
        )


def _samples(page: tifffile.TiffPage) -> NDArray:
    """The page's grey frame or its planes (height, width, 3), alpha left out, white high."""
    samples = page.asarray()
    if page.axes.startswith("S"):
        samples = np.moveaxis(samples, 0, -1)
    if samples.ndim == 3:
        samples = samples[:, :, :3] if page.photometric == _RGB else samples[:, :, 0]
    if page.photometric == _WHITE_IS_ZERO:
        samples = (2**page.bitspersample - 1 if page.sampleformat == 1 else 1) - samples
    return np.ascontiguousarray(samples)
