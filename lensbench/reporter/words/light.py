"""What the light's figures mean, in sentences: coverage, the image circle, hot spots, the light panel, glare."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.findings import Falloff, Glare, ImageCircle, Report
from lensbench.formatting import listed, number, with_interval
from lensbench.reporter.values.light import image_circle
from lensbench.reporter.values.zones import corner_name

ONE_APERTURE = (
    "Reflections in rings and tubes can brighten the middle (a hot spot), and so make the corners look darker. "
    "They grow as the iris closes, so only flats at two apertures or more can show them."
)

_INK_SOURCES = {"light trap": "measured against the light traps", "session file": "as given in session.toml"}


def light_in_words(report: Report) -> list[str]:
    """Sentences on coverage and what was separated from the lens's falloff, each said once for all apertures."""
    said: dict[str, list[str]] = {}
    lit = [(setting, setting.falloff) for setting in report.settings if setting.falloff]
    for setting, falloff in lit:
        for text in _of_falloff(falloff):
            said.setdefault(text, []).append(setting.name)
    if len({setting.f_number for setting, _ in lit if setting.f_number}) == 1:
        said[ONE_APERTURE] = [setting.name for setting, _ in lit]
    return [text if len(names) == len(lit) else f"{', '.join(names)}: {text}" for text, names in said.items()]


def _of_falloff(falloff: Falloff) -> Iterator[str]:
    circle = image_circle(falloff)
    if not falloff.covers_frame:
        yield "The image circle does not cover the frame."
    if circle is not None:
        yield _circle_in_words(circle)
    if falloff.hot_spot is not None:
        yield (
            "There is a hot spot in the middle. It is left out of all falloff figures, which would otherwise come "
            f"out too large. {falloff.hot_spot.note}"
        )
    if falloff.panel is not None:
        yield from falloff.panel.notes


def _circle_in_words(circle: ImageCircle) -> str:
    corners = [corner_name(corner.zone) for corner in circle.corners]
    text = "The light ends abruptly: a barrel, ring or hood cuts it off, which is not falloff"
    if corners:
        text += f". It cuts the {listed(corners)} corner{'s' * (len(corners) > 1)}"
    look = (
        "Take the lens off and look through it from that corner at a lit wall (never the sun) to see what cuts it."
    )
    return f"{text}. {look}"


def glare_in_words(report: Report) -> list[str]:
    """Sentences on the light in the dark tiles."""
    glares = [(s.name, s.glare) for s in report.settings if s.glare and s.glare.zones]
    said = [_range_in_words(name, glare) for name, glare in glares if glare.ink_percent is not None]
    known = [glare for _, glare in glares if glare.ink_percent is not None]
    if known:
        said.append(_ink_in_words(min(known, key=lambda glare: glare.systematic_percent or 0.0)))
    return said + list(dict.fromkeys(note for _, glare in glares for note in glare.notes))


def _range_in_words(name: str, glare: Glare) -> str:
    figures = sorted((z.glare_percent for z in glare.zones if z.glare_percent), key=lambda figure: figure.value)
    low, high = with_interval(figures[0], unit=False), with_interval(figures[-1], unit=False)
    return f"{name}: veiling glare adds between {low} % and {high} % of the white to the dark parts, by zone."


def _ink_in_words(glare: Glare) -> str:
    return (
        f"The ink itself reflects {with_interval(glare.ink_percent)} of what the paper does "
        f"({_INK_SOURCES[glare.ink_from]}); that is taken off. All glare figures alike may be off by "
        f"{number(glare.systematic_percent or 0.0, 2)} percentage points or so because of the ink and the black "
        "level."
    )
