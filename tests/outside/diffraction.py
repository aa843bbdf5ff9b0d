"""What a round pupil does to contrast, as poppy reckons it: a wavefront to a point's picture, that to its MTF.

poppy: Physical Optics Propagation in Python, Perrin et al., Proc. SPIE 8442 (2012).
"""

import numpy as np
import poppy


def contrast_of_a_pupil(f_number, wavelength_um, frequency, axis=1, zernike=None):
    """MTF in incoherent light of a round pupil, clear or with aberrations.

    Parameters
    ----------
    f_number : float
        On the side of the sensor.
    wavelength_um : float
        In micrometres.
    frequency : ndarray
        In cycles a micrometre on the sensor.
    axis : int
        Along x (1) or y (0).
    zernike : dict of int to float, optional
        Micrometres of Noll's polynomials by their numbers.
    """
    terms = np.zeros(max(zernike or {1: 0}))
    for noll, micrometres in (zernike or {}).items():
        terms[noll - 1] = micrometres * 1e-6
    wavelength = wavelength_um * 1e-6
    system = poppy.OpticalSystem(pupil_diameter=1.0, npix=512, oversample=4)
    system.add_pupil(poppy.CircularAperture(radius=0.5, gray_pixel=True))
    system.add_pupil(poppy.ZernikeWFE(radius=0.5, coefficients=terms))
    # A far field of 256 λN, 4 samples a λN: the step is λ/D over 4 in radians, the pupil being 1 m wide.
    system.add_detector(pixelscale=np.degrees(wavelength / 4) * 3600, fov_pixels=1024, oversample=1)
    point = system.calc_psf(wavelength=wavelength)[0].data
    line = point.sum(axis=1 - axis)
    place = (np.arange(1024) - 511.5) * wavelength_um * f_number / 4
    return np.abs(np.exp(-2j * np.pi * np.asarray(frequency)[:, None] * place) @ line)
