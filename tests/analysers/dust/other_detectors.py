"""Other libraries' detectors on the same flats, with the help that a careful user would give them.

The mosaic's colours are levelled and joined two by two, the light's slope is taken off by sep's own background,
and noise is taken between neighbours. Each detector gets such a picture and a threshold in units of noise, and
gives back places in pixels.
"""

from __future__ import annotations

import warnings

import numpy as np
import photutils.detection
import photutils.segmentation
import sep
from astropy.convolution import convolve
from photutils.utils.exceptions import NoDetectionsWarning
from skimage.feature import blob_log

from tests.analysers import flats


def levelled(shot):
    """Cells of two by two pixels, darker positive, in units of its noise."""
    light = shot.samples.astype(np.float64) - flats.BLACK
    cells = sum(light[j::2, i::2] / np.median(light[j::2, i::2]) for j in (0, 1) for i in (0, 1))
    background = sep.Background(np.ascontiguousarray(cells), bw=48, bh=48)
    # sep's own estimate of the noise holds the light's slope within its meshes; that between neighbours does not.
    noise = 1.4826 * np.median(np.abs(np.diff(cells, axis=1))) / np.sqrt(2)
    return -(cells - background.back()) / noise


def _pixels(x, y):
    """Places in cells as places in pixels."""
    return [(2 * float(i) + 0.5, 2 * float(j) + 0.5) for i, j in zip(x, y, strict=True)]


def by_sep(picture, threshold):
    """sep: the library form of Source Extractor's method."""
    found = sep.extract(np.ascontiguousarray(picture), threshold, minarea=4)
    return _pixels(found["x"], found["y"])


def by_blob_log(picture, threshold):
    """scikit-image's blobs by the Laplacian of Gaussians."""
    found = blob_log(picture, min_sigma=1, max_sigma=15, num_sigma=6, threshold=threshold)
    return _pixels(found[:, 1], found[:, 0])


def by_segments(picture, threshold):
    """photutils' segmentation, on the picture smoothed as its handbook advises."""
    kernel = photutils.segmentation.make_2dgaussian_kernel(3.0, size=5).array
    picture = convolve(picture, kernel)
    noise = np.sqrt((kernel**2).sum())
    found = photutils.segmentation.detect_sources(picture, threshold * noise, 5)
    if found is None:
        return []
    centres = photutils.segmentation.SourceCatalog(picture, found).centroid
    return _pixels(*np.atleast_2d(centres).T)


def by_stars(picture, threshold):
    """photutils' DAOStarFinder, for one size of mark."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NoDetectionsWarning)
        found = photutils.detection.DAOStarFinder(threshold, fwhm=4.0)(picture)
    return [] if found is None else _pixels(found[found.colnames[1]], found[found.colnames[2]])


DETECTORS = {
    "sep": (by_sep, (1.2, 2.0, 4.0)),
    "blob_log": (by_blob_log, (1.5, 2.5, 4.0)),
    "photutils segments": (by_segments, (3.0, 5.0, 8.0)),
    "photutils stars": (by_stars, (4.0, 6.0, 10.0)),
}
"""Each detector with the thresholds, in units of noise, at which it is tried."""
