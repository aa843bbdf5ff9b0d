"""About how long a batch of pictures will take, by how large their files are."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from lensbench.correction._listing import read_listing
from lensbench.expected import expected_of_files

S_PER_MB, PROOF_S_PER_MB = 0.15, 0.7
"""What a megabyte of a raw picture takes to be copied, and to be measured before and after (measured on
uncompressed files of 24 megapixels)."""


def expected_s(pictures: Sequence[Path], with_proof: bool = False) -> dict[str, float]:
    """Seconds of each picture, by the name that `correct_pictures` tells when it is done."""
    files = [
        path
        for picture in pictures
        for path in ([picture / name for name in read_listing(picture)] if picture.is_dir() else [picture])
    ]
    return expected_of_files(files, S_PER_MB + PROOF_S_PER_MB * with_proof)
