"""`lensbench check`: is the glass clean, now."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lensbench.cli.progress import progress_bar
from lensbench.cli.screen import (
    NEW_NAME,
    AsJson,
    Quiet,
    Verbose,
    check_picture,
    print_json,
    print_paths,
    print_sentences,
    say,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lensbench.findings import Notice
    from lensbench.shot import Shot
    from lensbench.verdicts.dirt import Cleanliness, Flat, Since


S_PER_MB = 0.12
"""What a megabyte of a flat takes (measured on uncompressed files of 24 megapixels)."""


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
    quiet: Quiet = False,
    verbose: Verbose = False,
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
    if picture:
        check_picture(picture)
    if since is not None and since.resolve() == flat.resolve():
        from lensbench.errors import BenchError

        raise BenchError(f"{flat}: is named twice. Name an earlier shot with --since.")
    with progress_bar("Looking for marks", quiet, verbose) as progress:
        from lensbench.expected import expected_of_files
        from lensbench.findings import Dust
        from lensbench.verdicts.dirt import changed_since, judge_cleanliness

        shots = [path for path in (since, flat) if path is not None]
        progress.expect(expected_of_files(shots, S_PER_MB))
        read = []
        for done, path in enumerate(shots, 1):
            read.append(_read(path, encoding))
            progress(done, len(shots), path.name)
        now, shot, notices = read[-1]
        answer = judge_cleanliness(Dust(list(now.marks)), now.size)
        changes = changed_since(read[0][0], now) if since is not None else None
        if picture:
            from lensbench.files import write_new
            from lensbench.reporter.plots.flagged_marks import marks_picture

            write_new({picture: marks_picture(shot, answer.marks)}, NEW_NAME)
    if json:
        _print_json(answer, changes, notices)
    else:
        say(*(notice.text for notice in notices))
        if quiet:
            print_paths([picture] if picture else [])
        else:
            _print(now.name, answer, changes, sure=not notices)
    if picture and not quiet:
        say(f"Picture: {picture}")
    raise typer.Exit(0 if answer.clean else 1)


def _print_json(answer: Cleanliness, changes: Since | None, notices: list[Notice]) -> None:
    import msgspec

    more = {"since": changes} if changes else {}
    print_json({"warnings": notices, **msgspec.structs.asdict(answer), **more})


def _read(path: Path, encoding: str | None) -> tuple[Flat, Shot, list[Notice]]:
    """A flat with its marks, its shot, and what is wrong with that."""
    from lensbench.analysers.dust import find_marks
    from lensbench.analysers.flat_light import flat_exposure
    from lensbench.errors import BenchError
    from lensbench.loaders import read_shot
    from lensbench.loaders.apertures import apertures_beside
    from lensbench.loaders.guessing import why_no_even_light
    from lensbench.verdicts.dirt import Flat, flat_notices

    shot = read_shot(path, encoding)
    if shot.incomparable:
        say(f"{shot.name}: {shot.incomparable}")
    if why := why_no_even_light(shot):
        raise BenchError(f"{shot.name}: {why} Dirt shows against an even light only: shoot a lit white sheet.")
    dust = find_marks(shot)
    notices = flat_notices(shot.name, flat_exposure(shot), dust.light)
    told = apertures_beside(path).get(path.name)
    f_number = shot.exposure.f_number if told is None else told.f_number
    flat = Flat(shot.name, shot.size, f_number, dust.marks, told.name if told else None)
    return flat, shot, notices


def _print(name: str, answer: Cleanliness, changes: Since | None, sure: bool) -> None:
    from lensbench.verdicts.dirt import CAUTIONS

    if answer.clean:
        said = "clean. Nothing shows at this aperture" if sure else "nothing shows, as far as this flat can tell"
        print_sentences(f"{name}: {said}.")
    else:
        print_sentences(
            f"{name}: {len(answer.marks)} mark{'s' * (len(answer.marks) > 1)} would show at this aperture."
        )
        for number, sentence in enumerate(answer.sentences, 1):
            print_sentences(f"{sentence}.", hang=f"{number:3}. ")
    if changes is not None:
        counts: dict[str, Sequence[object]] = {
            "new": changes.new,
            "gone": changes.gone,
            "moved": changes.moved,
            "still there": changes.stayed,
        }
        said = ", ".join(f"{len(marks)} {what}" for what, marks in counts.items() if marks) or "nothing changed"
        print_sentences("", f"Since {changes.earlier}: {said}.")
        # What makes the comparison unsure comes first.
        for sentence in (*changes.notes, *changes.sentences):
            print_sentences(f"{sentence}{'' if sentence.endswith('.') else '.'}", hang="   - ")
    if not answer.clean:
        print_sentences("", *CAUTIONS)
