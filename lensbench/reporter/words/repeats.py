"""What repeated setups of one aperture mean, in a sentence or two with their figures."""

from __future__ import annotations

from lensbench.findings import Repeats
from lensbench.formatting import limit, spread
from lensbench.reporter.values.repeats import centre_repeated, repeats_name
from lensbench.reporter.values.zones import in_the

_ENOUGH = 5
"""From so many setups on the spread is known well enough to go without a warning (chosen by experience)."""


def repeats_in_words(repeats: Repeats) -> str:
    """How far apart two builds must lie, by the centre's sharpness."""
    count = len(repeats.setups)
    text = f"{repeats_name(repeats)} was set up {count} times."
    centre = centre_repeated(repeats)
    if centre is not None:
        text += (
            f" Sharpness in {in_the(centre.zone)} changes by {spread(centre.spread.value)} "
            f"{centre.mean.unit} from one setup to the next (one standard deviation); the noise of one setup's "
            f"shots is ± {spread(centre.shot_half_width)}. The smallest difference that counts is "
            f"{limit(centre.smallest_difference)} {centre.mean.unit}: another build, also shot in {count} setups, "
            "is better or worse only if it differs by more."
        )
    if count < _ENOUGH:
        text += (
            f" {count} setups tell little about their spread, so this margin is wide: {_ENOUGH} or more narrow it."
        )
    return text
