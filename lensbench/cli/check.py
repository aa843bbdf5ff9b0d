"""`lensbench check`: is the glass clean, now."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lensbench.cli.screen import AsJson, print_json


def check(
    flat: Annotated[Path, typer.Argument(help="A shot of an even light, best at a small aperture such as f/11.")],
    encoding: Annotated[
        str | None, typer.Option(help="For TIFF that doesn't say so itself: linear or srgb.")
    ] = None,
    json: AsJson = False,
) -> None:
    """Say whether the glass is clean, and if not, what shows where.

    Photograph an even light (a clear sky away from the sun, or a lit white sheet out of focus) at the aperture
    that you will shoot at: dirt shows more as the aperture closes. Never point a lens at the sun. Leaves with 0
    when clean, 1 when something shows, 2 when the shot can't be read.
    """
    from lensbench.analysers.dust import find_marks
    from lensbench.errors import BenchError
    from lensbench.loaders import load_shot
    from lensbench.loaders.guessing import why_no_even_light
    from lensbench.verdicts.cleanliness import CAUTIONS, judge_cleanliness

    shot = load_shot(flat, encoding)
    if why := why_no_even_light(shot):
        raise BenchError(
            f"{shot.name}: {why} Dirt shows against an even light only: shoot a lit white sheet."
        )
    answer = judge_cleanliness(find_marks(shot), shot.size)
    if json:
        print_json(answer)
    elif answer.clean:
        print(f"{shot.name}: clean. Nothing shows at this aperture.")
    else:
        print(f"{shot.name}: {len(answer.marks)} mark{'s' * (len(answer.marks) > 1)} would show at this aperture.")
        for number, sentence in enumerate(answer.sentences, 1):
            print(f"{number:3}. {sentence}.")
        print("", *CAUTIONS, sep="\n")
    raise typer.Exit(0 if answer.clean else 1)
