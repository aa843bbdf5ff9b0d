"""The slanted-edge method of ISO 12233 (e-SFR, as in the editions of 2014 and 2017; from memory).

Rows' centroids give a line, samples fall along it into bins a quarter pixel wide, the bins' differences under a
Hamming window are transformed, and what the difference itself takes is given back. The edition of 2023 lets the
line bend and the window be another; on straight edges in even light both do alike. It serves as a yardstick.
"""

from __future__ import annotations

import numpy as np


def published_curve(patch: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    """Contrast at frequencies in cycles a pixel.

    The patch is of one colour, its edge within 45° of upright, dark to the left.
    """
    at, mtf = _spectrum(patch)
    return np.interp(frequency, at, mtf)


def published_mtf50(patch: np.ndarray) -> float:
    """Where that contrast first falls to half."""
    at, mtf = _spectrum(patch)
    k = int(np.argmax(mtf < 0.5))
    return float(np.interp(0.5, [mtf[k], mtf[k - 1]], [at[k], at[k - 1]]))


def upright(light: np.ndarray, middle: np.ndarray, normal: np.ndarray, rows: int, columns: int) -> np.ndarray:
    """A patch round an edge's middle (x, y), turned by quarters and mirrored as the method wants it."""
    x, y = np.round(middle).astype(int)
    if abs(normal[0]) < abs(normal[1]):
        light, (x, y), normal = light.T, (y, x), normal[::-1]
    patch = light[y - rows // 2 : y - rows // 2 + rows, x - columns // 2 : x - columns // 2 + columns]
    return patch if normal[0] > 0 else patch[:, ::-1]


def _spectrum(patch: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    rows, columns = patch.shape
    place = np.arange(columns)
    slope = np.gradient(patch, axis=1)

    def centroids(middle):
        window = np.clip(np.cos(np.pi * (place - middle[:, None]) / columns), 0, None)
        return (slope * window * place).sum(axis=1) / (slope * window).sum(axis=1)

    y = np.arange(rows)
    middle = np.full(rows, (columns - 1) / 2)
    for _ in range(3):
        lean, start = np.polyfit(y, centroids(middle), 1)
        middle = start + lean * y
    distance = (place - middle[:, None]) / np.hypot(1, lean)
    reach = columns / 2 - abs(lean) * rows / 2
    key = np.floor(4 * (distance + reach)).astype(int)
    inside = (key >= 0) & (key < int(8 * reach))
    count = np.bincount(key[inside])
    profile = np.bincount(key[inside], patch[inside]) / np.maximum(count, 1)
    spread = np.convolve(profile, [0.5, 0, -0.5], "valid") * np.hamming(len(profile) - 2)
    frequency = np.fft.rfftfreq(16 * len(spread), 0.25)
    mtf = np.abs(np.fft.rfft(spread, 16 * len(spread)))
    # What the two-sided difference over bins of a quarter pixel takes.
    return frequency, mtf / mtf[0] / np.maximum(np.sinc(frequency / 2), 0.1)
