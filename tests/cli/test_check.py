"""`check` through the command line: clean or not, what changed since, and the exit code."""

import json

import imageio.v3 as iio
import numpy as np
import pytest

from lensbench.dng import write_dng
from tests.analysers import flats
from tests.cli.command import run

SIZE = (800, 540)


@pytest.fixture(scope="module")
def shots(tmp_path_factory):
    """A clean flat, a dirty one, and the same after wiping: one spot gone, one new."""
    folder = tmp_path_factory.mktemp("flats")
    spots = {"clean": (), "before": ((200, 150, 20, 0.2, 3), (600, 400, 30, 0.1, 5))}
    spots["after"] = (spots["before"][0], (300, 430, 14, 0.3, 2))
    for seed, (name, planted) in enumerate(spots.items()):
        light = flats.cos4(SIZE, 1.0)
        for spot in planted:
            flats.disc(light, *spot)
        write_dng(folder / f"{name}.dng", flats.flat(light, seed=seed, name=f"{name}.dng"))
    return folder


def test_clean_leaves_with_0_and_says_what_went(capsys, shots):
    ran = run(capsys, "check", shots / "clean.dng", "--since", shots / "before.dng")
    assert ran.code == 0
    assert "clean.dng: clean" in ran.out
    assert "Since before.dng: 2 gone." in ran.out
    assert ran.out.count("gone: a spot") == 2
    assert "isn't recorded" in ran.out


def test_dirt_leaves_with_1_and_says_what_is_new(capsys, shots):
    ran = run(capsys, "check", shots / "after.dng", "--since", shots / "before.dng")
    assert ran.code == 1
    assert "after.dng: 2 marks would show" in ran.out
    assert "Since before.dng: 1 new, 1 gone, 1 still there." in ran.out
    assert "Blow first" in ran.out


def test_json_holds_the_same(capsys, shots):
    ran = run(capsys, "check", shots / "after.dng", "--since", shots / "before.dng", "--json")
    said = json.loads(ran.out)
    assert ran.code == 1
    assert not said["clean"]
    assert len(said["marks"]) == 2
    assert (len(said["since"]["new"]), len(said["since"]["gone"])) == (1, 1)
    assert np.hypot(said["since"]["gone"][0]["x"] - 600, said["since"]["gone"][0]["y"] - 400) < 3
    assert "since" not in json.loads(run(capsys, "check", shots / "clean.dng", "--json").out)


def test_an_earlier_shot_that_cannot_be_read_leaves_with_2(capsys, shots):
    ran = run(capsys, "check", shots / "after.dng", "--since", shots / "missing.dng")
    assert ran.code == 2
    assert "missing.dng" in ran.err
    assert ran.out == ""


def test_the_picture_rings_the_marks(capsys, shots, tmp_path):
    picture = tmp_path / "marks.png"
    ran = run(capsys, "check", shots / "before.dng", "--picture", picture)
    assert ran.code == 1
    assert "Picture: " in ran.err
    drawn = iio.imread(picture)
    # The residual is drawn from 0.3 to 7.7 inches across at 200 dots an inch: the deep spot is dark there.
    inner = (8.0 - 0.6) * 200
    x, y = (round(0.3 * 200 + 200 / SIZE[0] * inner), round(0.75 * 200 + 150 / SIZE[0] * inner))
    assert drawn[y - 5 : y + 5, x - 5 : x + 5, :3].mean() < 0.5 * np.median(drawn[..., :3])
    before = picture.read_bytes()
    assert run(capsys, "check", shots / "clean.dng", "--picture", picture).code == 2
    assert picture.read_bytes() == before


def test_a_clipped_flat_is_said_before_the_marks(capsys, tmp_path):
    write_dng(tmp_path / "bright.dng", flats.flat(flats.cos4(SIZE, 1.0), seed=9, level=1.08, name="bright.dng"))
    ran = run(capsys, "check", tmp_path / "bright.dng")
    assert "bright.dng: " in ran.err
    assert "% of green is clipped" in ran.err
    assert "Expose" in ran.err
    assert "as far as this flat can tell" in ran.out
    said = json.loads(run(capsys, "check", tmp_path / "bright.dng", "--json").out)
    assert [warning["code"] for warning in said["warnings"]] == ["clipped"]


@pytest.mark.parametrize(
    ("earlier", "later", "said"),
    [
        ("f_number = 5.6", "f_number = 11", "before.dng was taken at f/5.6, after.dng at f/11"),
        ('aperture = "one"', 'aperture = "two"', "before.dng was taken at one, after.dng at two"),
        ('aperture = "one"', 'aperture = "one"', None),
    ],
)
def test_apertures_come_from_the_session_file_beside_the_flats(capsys, shots, tmp_path, earlier, later, said):
    lines = []
    for name, aperture in (("before.dng", earlier), ("after.dng", later)):
        (tmp_path / name).write_bytes((shots / name).read_bytes())
        lines += ["[[shot]]", f'file = "{name}"', 'shows = "flat"', aperture]
    (tmp_path / "session.toml").write_text("\n".join(lines))
    out = " ".join(run(capsys, "check", tmp_path / "after.dng", "--since", tmp_path / "before.dng").out.split())
    assert "isn't recorded" not in out
    assert ("was taken at" in out) == (said is not None)
    assert said is None or said in out
