"""DNG files as others read them: LibRaw (rawpy), tifffile and the DNG SDK (dngpy) are the outside references."""

import dngpy
import numpy as np
import pytest
import rawpy
import tifffile

from lensbench.dng import CFA, LINEAR_RAW, write_dng
from lensbench.errors import BenchError
from lensbench.shot import Exposure, Shot

RGBG = ("red", "green", "blue", "green")
BAYER = {
    "RGGB": [[0, 1], [3, 2]],
    "BGGR": [[2, 3], [1, 0]],
    "GRBG": [[1, 0], [2, 3]],
    "GBRG": [[3, 2], [0, 1]],
}
SIX = [
    [1, 2, 1, 1, 0, 1],
    [0, 1, 0, 2, 1, 2],
    [1, 2, 1, 1, 0, 1],
    [1, 0, 1, 1, 2, 1],
    [2, 1, 2, 0, 1, 0],
    [1, 0, 1, 1, 2, 1],
]
EXPOSURE = Exposure("Nightjar One", 1 / 60, 400, 5.6, 24.0, "2024-05-06 21:10:11", 6)
KINDS = {
    **{name: (pattern, RGBG) for name, pattern in BAYER.items()},
    "6x6": (SIX, RGBG[:3]),
    "grey": ([[0]], ("grey",)),
    "planes": (None, RGBG[:3]),
}


def make_shot(pattern, colours, *, width=84, height=60, black=512.0, exposure=EXPOSURE, seed=1):
    """A shot of random 14-bit samples, the same number never standing twice in a row."""
    shape = (height, width) if pattern is not None else (height, width, 3)
    samples = np.random.default_rng(seed).integers(0, 16000, shape, dtype=np.uint16)
    pattern = None if pattern is None else np.array(pattern, dtype=np.uint8)
    black = np.broadcast_to(np.asarray(black, dtype=float), len(colours)).copy()
    return Shot("made.dng", samples, pattern, colours, black, 15871.0, np.ones(len(colours)), exposure)


@pytest.fixture(params=KINDS)
def kind(request):
    return request.param


def test_libraw_and_tifffile_read_the_samples_as_they_are(kind, tmp_path):
    shot = make_shot(*KINDS[kind])
    path = tmp_path / "a.dng"
    write_dng(path, shot)
    assert np.array_equal(tifffile.imread(path), shot.samples)
    with rawpy.imread(str(path)) as raw:
        seen = raw.raw_image_visible
        assert np.array_equal(seen[..., :3] if kind == "planes" else seen, shot.samples)


@pytest.mark.parametrize("name", [*BAYER, "6x6"])
def test_libraw_sees_the_mosaic_that_was_written(name, tmp_path):
    pattern, colours = KINDS[name]
    write_dng(tmp_path / "a.dng", make_shot(pattern, colours))
    repeat = np.array(pattern)
    with rawpy.imread(str(tmp_path / "a.dng")) as raw:
        letters = np.array(list(raw.color_desc.decode()))[raw.raw_colors_visible]
    wanted = np.array([c[0].upper() for c in colours])[repeat]
    assert np.array_equal(letters[: repeat.shape[0], : repeat.shape[1]], wanted)


def test_libraw_reads_levels_and_exposure(tmp_path):
    shot = make_shot(BAYER["GRBG"], RGBG, black=[512, 500, 510, 505])
    write_dng(tmp_path / "a.dng", shot)
    with rawpy.imread(str(tmp_path / "a.dng")) as raw:
        assert raw.black_level_per_channel == [512, 500, 510, 505]
        assert raw.white_level == 15871
        assert raw.sizes.flip == 6
        assert raw.other.shutter_speed == pytest.approx(1 / 60)
        assert raw.other.aperture == pytest.approx(5.6)
        assert raw.other.focal_length == pytest.approx(24)
        assert raw.other.timestamp.isoformat() == "2024-05-06T21:10:11"


def test_tags_are_those_of_the_specification(tmp_path):
    shot = make_shot(SIX, RGBG[:3], black=[512, 510.25, 511])
    write_dng(tmp_path / "a.dng", shot)
    with tifffile.TiffFile(tmp_path / "a.dng") as tiff:
        tags = {tag.code: tag.value for tag in tiff.pages[0].tags}
    assert tags[262] == CFA
    assert tags[33421] == (6, 6)
    assert tags[33422] == bytes(np.ravel(SIX).tolist())
    assert tags[50713] == (6, 6)
    numerators, denominators = np.reshape(tags[50714], (36, 2)).T
    assert np.array_equal((numerators / denominators).reshape(6, 6), shot.black[np.array(SIX)])
    assert tags[50717] == 15871
    assert tags[34855] == 400
    assert tags[50708] == "Nightjar One"


def test_the_dng_sdk_opens_every_kind(kind, tmp_path):
    shot = make_shot(*KINDS[kind])
    write_dng(tmp_path / "a.dng", shot)
    opened = dngpy.Dng(str(tmp_path / "a.dng"))
    assert np.array_equal(np.squeeze(opened.raw_pixels), shot.samples)
    assert opened.get_bayer_pattern() == (kind if kind in BAYER else "")


def test_libraw_develops_grey_light_to_grey(tmp_path):
    shot = make_shot(BAYER["RGGB"], RGBG)
    shot.samples[:] = 8000
    write_dng(tmp_path / "a.dng", shot)
    with rawpy.imread(str(tmp_path / "a.dng")) as raw:
        picture = raw.postprocess(use_camera_wb=True, no_auto_bright=True, user_flip=0)
    assert np.ptp(picture[20:40, 20:40].astype(int)) <= 1


def test_a_camera_without_a_name_is_the_simulator(tmp_path):
    write_dng(tmp_path / "a.dng", make_shot([[0]], ("grey",), exposure=Exposure()))
    with tifffile.TiffFile(tmp_path / "a.dng") as tiff:
        tags = tiff.pages[0].tags
        assert tags["Model"].value == "Bench Simulator"
        assert tags["PhotometricInterpretation"].value == LINEAR_RAW
        assert not {33434, 33437, 34855, 306} & set(tags.keys())


def test_floating_point_is_brought_to_16_bits(tmp_path):
    shot = make_shot(BAYER["RGGB"], RGBG)
    light = np.linspace(-0.01, 1, 84 * 60, dtype=np.float32).reshape(60, 84)
    wide = Shot("f.tif", light, shot.pattern, RGBG, np.zeros(4), 1.0, np.ones(4), EXPOSURE)
    write_dng(tmp_path / "a.dng", wide)
    stored = tifffile.imread(tmp_path / "a.dng").astype(float)
    assert np.allclose((stored - 1024) / (65535 - 1024), light, atol=0.51 / 64511)


def test_strange_colours_are_refused_and_nothing_is_written(tmp_path):
    with pytest.raises(BenchError, match="cyan"):
        write_dng(tmp_path / "a.dng", make_shot(BAYER["RGGB"], ("cyan", "green", "blue", "green")))
    assert not list(tmp_path.iterdir())
