"""A lens known in full: what it does to sharpness, colour, shape and light, and the dirt on it.

Positions are in the picture's own sense, in millimetres on the sensor from the axis, x right, y down. The field of
the lens is measured in units of `image_radius_mm` and called H; the pupil in units of the open iris' radius and
called r. Everything that belongs to the lens turns with it in its mount (`Scene.lens_turn_deg`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Pair = tuple[float, float]


@dataclass(frozen=True)
class Colour:
    """What the lens does to one colour.

    Attributes
    ----------
    wavelengths_um, weights : tuple of float
        The light of the channel; one wavelength is fastest, three show how colour smears within a channel.
    focus_mm : float
        Where it focuses against nominal, positive farther from the lens.
    stretch, stretch_outer : float
        Its magnification against nominal less 1, at the axis, and what is added to that in proportion to H².
        Positive lies outward.
    shift_mm : (float, float)
        Displacement of the whole picture, as from a wedge.
    gaussian_px : float
        Standard deviation of an extra Gaussian blur, for tests against closed forms.
    falloff_stops : float
        Falloff at H = 1, growing with H², that this colour has more than the others.
    """

    wavelengths_um: tuple[float, ...] = (0.54,)
    weights: tuple[float, ...] = (1.0,)
    focus_mm: float = 0.0
    stretch: float = 0.0
    stretch_outer: float = 0.0
    shift_mm: Pair = (0.0, 0.0)
    gaussian_px: float = 0.0
    falloff_stops: float = 0.0

    @property
    def wavelength_um(self) -> float:
        """The mean wavelength, at which the colour's own values hold."""
        return float(np.average(self.wavelengths_um, weights=self.weights))


def plain_colours() -> dict[str, Colour]:
    """Red, green, blue and grey light of one wavelength each, and nothing between them."""
    return {
        "red": Colour((0.61,)),
        "green": Colour((0.54,)),
        "blue": Colour((0.46,)),
        "grey": Colour((0.55,)),
    }


@dataclass(frozen=True)
class Dirt:
    """One mark of dirt, by the shadow that it casts on the sensor.

    Attributes
    ----------
    kind : str
        ``spot`` (a disc), ``fibre`` (a thin curved band) or ``patch`` (a soft smear).
    x_mm, y_mm : float
        Its middle in the picture, from the frame's centre.
    width_mm, length_mm : float
        Across; a patch's width is at half depth. Length is for fibres.
    opacity : float
        Part of the light that it stops; negative for what sends more.
    distance_mm : float
        From the sensor to the mark or its image: its shadow is blurred over that divided by the effective
        f-number.
    angle_deg, bend : float
        For fibres: its direction in the middle, anticlockwise as seen from x right, and by how many radians it
        turns from end to end.
    place : str
        What it lies on, in words, for the truth's sake.
    """

    kind: str
    x_mm: float
    y_mm: float
    width_mm: float
    opacity: float
    distance_mm: float = 0.0
    length_mm: float = 0.0
    angle_deg: float = 0.0
    bend: float = 0.0
    place: str = "sensor"


@dataclass(frozen=True)
class Rim:
    """A ring away from the iris that cuts the pupil of outer fields (cat's eyes).

    Its radius is in open pupils; its centre moves away from the pupil's by `walk` for each unit of H.
    """

    radius: float
    walk: float


@dataclass(frozen=True)
class Barrel:
    """A tube that ends the light: half of it is gone at `radius_mm` from `centre_mm`, over `softness_mm`."""

    radius_mm: float
    softness_mm: float = 0.3
    centre_mm: Pair = (0.0, 0.0)


@dataclass(frozen=True)
class Reflection:
    """A bright spot in the middle from light reflected between rings.

    Its strength, as a part of the light, grows with the square of the f-number and is `strength` at f/16.
    """

    strength: float
    radius_mm: float


@dataclass(frozen=True)
class Lens:
    """A lens known in full.

    Wavefront errors are in micrometres of path over the open iris (r = 1) at the field's edge (H = 1); closing
    the iris cuts the outer wavefront off. At N times the open f-number, r reaches 1 / N.

    Attributes
    ----------
    focal_mm, pupil_ratio, open_f_number, image_radius_mm : float
        Focal length, exit over entrance pupil, the f-number at which the iris is open, the field's edge.
    diffraction : bool
        False leaves the pupil out altogether: points stay points but for a colour's Gaussian.
    spherical_um : float
        A of A(r⁴ - r²): undercorrected where positive, focused for the open iris.
    coma_um, axial_coma_um : float, (float, float)
        C of C H r³ cos; positive flares outward. And the same everywhere, flaring along the vector.
    astigmatism_um, curvature_um : float
        Of H² r² cos² (along the radius only) and H² r² (all round): extra path as from a sensor too far away.
    lean_deg : (float, float)
        How the surface of best focus leans: positive where, as x (or y) grows, it comes nearer to the lens, so
        that the sensor lies beyond it. (The lens turned about its pupils: the picture's shape stays.)
    distortion : tuple of float
        k of r' = r (1 + k₁H² + k₂H⁴ …); positive is cushion.
    decentring : (float, float)
        Of the displacement H² (3, 1 along and across the vector), as a part of `image_radius_mm`.
    decentre_mm, colour_decentre_mm, light_decentre_mm : (float, float)
        The axis against the frame's centre; further offsets of the centres of lateral colour and of light.
    colours : mapping of str to Colour
        By the channel's name.
    cos_power : float
        Natural falloff is cosine to this power of the field angle before the lens.
    rim, barrel, reflection : optional
        What else shapes the light.
    glare : float
        Veiling glare: this part of the frame's mean light lies over everything.
    dirt : tuple of Dirt
        On or in the lens; turns with it.
    """

    focal_mm: float = 50.0
    pupil_ratio: float = 1.0
    open_f_number: float = 2.8
    image_radius_mm: float = 21.63
    diffraction: bool = True
    spherical_um: float = 0.0
    coma_um: float = 0.0
    axial_coma_um: Pair = (0.0, 0.0)
    astigmatism_um: float = 0.0
    curvature_um: float = 0.0
    lean_deg: Pair = (0.0, 0.0)
    distortion: tuple[float, ...] = ()
    decentring: Pair = (0.0, 0.0)
    decentre_mm: Pair = (0.0, 0.0)
    colour_decentre_mm: Pair = (0.0, 0.0)
    light_decentre_mm: Pair = (0.0, 0.0)
    colours: Mapping[str, Colour] = field(default_factory=plain_colours)
    cos_power: float = 4.0
    rim: Rim | None = None
    barrel: Barrel | None = None
    reflection: Reflection | None = None
    glare: float = 0.0
    dirt: tuple[Dirt, ...] = ()

    def colour_at(self, channel: str, wavelength_um: float) -> tuple[float, float, float]:
        """Focus, stretch and outer stretch at a wavelength within a channel.

        Between and beyond the mean wavelengths of red, green and blue the three values follow a parabola; a
        channel outside of these (grey) has its own everywhere.
        """
        own = self.colours[channel]
        known = [self.colours[name] for name in ("red", "green", "blue") if name in self.colours]
        if channel == "grey" or len(known) < 3 or len(own.wavelengths_um) == 1:
            return own.focus_mm, own.stretch, own.stretch_outer
        places = np.array([c.wavelength_um for c in known])
        values = np.array([[c.focus_mm, c.stretch, c.stretch_outer] for c in known])
        weight = [
            np.prod((wavelength_um - np.delete(places, i)) / (places[i] - np.delete(places, i))) for i in range(3)
        ]
        focus, stretch, outer = (float(v) for v in weight @ values)
        return focus, stretch, outer


def turned(vector: Pair, degrees: float) -> NDArray[np.float64]:
    """A vector turned anticlockwise as seen (y down)."""
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    x, y = vector
    return np.array([x * cos + y * sin, y * cos - x * sin])
