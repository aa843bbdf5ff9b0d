"""`lensbench check`: is the glass clean, now."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lensbench.cli.screen import NEW_NAME, AsJson, check_picture, print_json, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lensbench.findings import Notice
    from lensbench.shot import Shot
    from lensbench.verdicts.dirt import Cleanliness, Flat, Since


def check(
    flat: Annotated[Path, typer.Argument(help="A shot of an even light, best at a small aperture such as f/11.")],
    since: Annotated[
        Path | None,
        typer.Option(metavar="EARLIER", help="An earlier flat: also say what is new, gone and moved since then."),
    ] = None,
    encoding: Annotated[
        str | None, typer.Option(help="How a TIFF stores light, where it doesn't say so itself: linear or srgb.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(help="Write the flat with its marks ringed and numbered to this PNG file.")
    ] = None,
    json: AsJson = False,
) -> None:
    """Say whether the glass is clean, and if not, what shows where.

    Photograph an even light (a clear sky away from the sun, or a lit white sheet out of focus) at the aperture
    that you will shoot at: dirt shows more as the aperture closes. Never point a lens at the sun. After wiping,
    shoot again at the same aperture and name the earlier shot with --since.

    Exit code 0 when clean, 1 when something shows, 2 when a shot can't be read.
    """
    from lensbench.loaders.decoder import decoder

    # It gets ready while the rest is loaded.
    decoder.start()
    import msgspec

    from lensbench.findings import Dust
    from lensbench.verdicts.dirt import changed_since, judge_cleanliness

    if picture:
        check_picture(picture)
    earlier = _read(since, encoding)[0] if since else None
    now, shot, notices = _read(flat, encoding)
    answer = judge_cleanliness(Dust(list(now.marks)), now.size)
    changes = changed_since(earlier, now) if earlier else None
    if json:
        more = {"since": changes} if changes else {}
        print_json({"warnings": notices, **msgspec.structs.asdict(answer), **more})
    else:
        say(*(notice.text for notice in notices))
        _print(now.name, answer, changes, sure=not notices)
    if picture:
        from lensbench.files import write_new
        from lensbench.reporter.plots.flagged_marks import marks_picture

        write_new({picture: marks_picture(shot, answer.marks)}, NEW_NAME)
        say(f"Picture: {picture}")
    raise typer.Exit(0 if answer.clean else 1)


def _read(path: Path, encoding: str | None) -> tuple[Flat, Shot, list[Notice]]:
    """A flat with its marks, its shot, and what is wrong with that."""
    from lensbench.analysers.dust import find_marks
    from lensbench.analysers.flat_light import flat_exposure
    from lensbench.errors import BenchError
    from lensbench.loaders import read_shot
    from lensbench.loaders.guessing import why_no_even_light
    from lensbench.verdicts.dirt import Flat, flat_notices

    shot = read_shot(path, encoding)
    if shot.incomparable:
        say(f"{shot.name}: {shot.incomparable}")
    if why := why_no_even_light(shot):
        raise BenchError(f"{shot.name}: {why} Dirt shows against an even light only: shoot a lit white sheet.")
    dust = find_marks(shot)
    notices = flat_notices(shot.name, flat_exposure(shot), dust.light)
    return Flat(shot.name, shot.size, shot.exposure.f_number, dust.marks), shot, notices


def _print(name: str, answer: Cleanliness, changes: Since | None, sure: bool) -> None:
    from lensbench.verdicts.dirt import CAUTIONS

    if answer.clean:
        said = "clean. Nothing shows at this aperture" if sure else "nothing shows, as far as this flat can tell"
        print(f"{name}: {said}.")
    else:
        print(f"{name}: {len(answer.marks)} mark{'s' * (len(answer.marks) > 1)} would show at this aperture.")
        for number, sentence in enumerate(answer.sentences, 1):
            print(f"{number:3}. {sentence}.")
    if changes is not None:
        counts: dict[str, Sequence[object]] = {
            "new": changes.new,
            "gone": changes.gone,
            "moved": changes.moved,
            "still there": changes.stayed,
        }
        said = ", ".join(f"{len(marks)} {what}" for what, marks in counts.items() if marks) or "nothing changed"
        print(f"\nSince {changes.earlier}: {said}.")
        # What makes the comparison unsure comes first.
        for sentence in (*changes.notes, *changes.sentences):
            print(f"   - {sentence}{'' if sentence.endswith('.') else '.'}")
    if not answer.clean:
        print("", *CAUTIONS, sep="\n")
