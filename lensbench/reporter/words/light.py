"""What the light's figures mean, in sentences: coverage, hard edges, spots, the panel, glare."""

from __future__ import annotations

from lensbench.findings import Glare, ImageCircle, Report
from lensbench.formatting import number, with_interval
from lensbench.reporter.words import sentences
from lensbench.wording import listed

ONE_APERTURE = (
    "Reflections in rings and tubes brighten the middle and so make the corners look darker. They grow as the "
    "iris closes, which only flats at two apertures or more can show."
)


def light_in_words(report: Report) -> list[str]:
    """Sentences on coverage and on what was told from the lens's falloff, each said once for all apertures."""
    said: dict[str, list[str]] = {}
    for setting in report.settings:
        falloff = setting.falloff
        if falloff is None:
            continue
        texts = []
        if not falloff.covers_frame:
            texts.append("The light does not cover the frame.")
        edge = falloff.coverage.image_circle if falloff.coverage else None
        if edge is not None:
            texts.append(_edge_in_words(edge))
        if falloff.hot_spot is not None:
            texts.append(
                "There is a bright spot in the middle; it is left out of all stops, which would otherwise look "
                "larger. " + falloff.hot_spot.note
            )
        if falloff.panel is not None:
            texts += falloff.panel.notes
        for text in texts:
            said.setdefault(text, []).append(setting.name)
    lit = [setting for setting in report.settings if setting.falloff]
    if len({setting.f_number for setting in lit if setting.f_number}) == 1:
        said[ONE_APERTURE] = [setting.name for setting in lit]
    return [text if len(names) == len(lit) else f"{', '.join(names)}: {text}" for text, names in said.items()]


def _edge_in_words(edge: ImageCircle) -> str:
    corners = [sentences.corner_name(corner.zone) for corner in edge.corners]
    text = "The light ends abruptly, as a barrel, a ring or a hood cuts it, and not as falloff does"
    if corners:
        text += f": it cuts the {listed(corners)} corner{'s' * (len(corners) > 1)}"
    return f"{text}. Look through the lens from there to see what it is."


def glare_in_words(report: Report) -> list[str]:
    """Sentences on the light in the dark tiles."""
    glares = [(s.name, s.glare) for s in report.settings if s.glare and s.glare.zones]
    said = [_glare_range(name, glare) for name, glare in glares if glare.ink_percent is not None]
    known = [glare for _, glare in glares if glare.ink_percent is not None]
    if known:
        said.append(_ink_in_words(min(known, key=lambda glare: glare.systematic_percent)))
    return said + list(dict.fromkeys(note for _, glare in glares for note in glare.notes))


def _glare_range(name: str, glare: Glare) -> str:
    figures = sorted((zone.glare_percent for zone in glare.zones), key=lambda figure: figure.value)
    low, high = with_interval(figures[0], unit=False), with_interval(figures[-1], unit=False)
    return f"{name}: between {low} % and {high} % of the white lies over the dark parts, by zone."


def _ink_in_words(glare: Glare) -> str:
    came = {"light trap": "measured against the light traps", "session file": "as given in the session file"}
    return (
        f"The ink itself sends back {with_interval(glare.ink_percent)} of the paper's light "
        f"({came[glare.ink_from]}), which is taken off. All glare figures alike may be off by "
        f"{number(glare.systematic_percent, 2)} percentage points or so because of the ink and the black level."
    )
