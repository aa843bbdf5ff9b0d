"""What the page says of glow, from findings written by hand."""

from msgspec.structs import replace

from lensbench.findings import Figure, Glow, ZoneGlow
from lensbench.reporter.page.composition import page_text
from lensbench.reporter.page.live._layers import layers_of
from lensbench.reporter.tables.csv_files import report_tables
from lensbench.reporter.tables.glow import glow_tables
from lensbench.reporter.words.glow import glow_in_words
from tests.reporter.invented import invented_report


def zone(name, percent, half=0.2, channel="green", width=None):
    wide = Figure.of(width, 0.5, "px") if width else None
    return ZoneGlow(
        name, channel, Figure.of(percent, half, "%"), Figure.of(1.0, 0.1, "%"), 3.2, wide,
        wide.scaled(6, "µm") if wide else None, 40,
    )  # fmt: skip


def report(*frames):
    """A glow for each of the invented apertures."""
    made = invented_report((2.8, 5.6), (300, 200))
    glows = [Glow(48.0, 288.0, "f-number", zones) for zones in frames]
    settings = [replace(setting, glow=glow) for setting, glow in zip(made.settings, glows, strict=True)]
    return replace(made, settings=settings)


def test_glow_that_goes_is_aberration_or_the_rim():
    words = glow_in_words(
        report(
            [zone("frame", 6.0, width=9.0), zone("centre", 5.9), zone("corner top-left", 9.0)],
            [zone("frame", 0.5)],
        )
    )
    assert "6.0 ± 0.2 % of an edge's light lands 3.2 to 48 px away" in words[0]
    assert "half of that within 9.0 ± 0.5 px (54 ± 3 µm)" in words[0]
    assert "worst in the top left corner: 9.0 ± 0.2 %" in words[0]
    assert "Stopping down from f/2.8 to f/5.6 takes most of it away" in words[2]


def test_glow_that_stays_is_haze():
    words = glow_in_words(report([zone("frame", 6.0)], [zone("frame", 5.5)]))
    assert "It stays down to f/5.6" in words[2]
    assert "Cleaning may help" in words[2]


def test_no_glow_is_said_with_its_limit():
    words = glow_in_words(report([zone("frame", 0.1)], [zone("frame", 0.1)]))
    assert len(words) == 2
    assert "no glow shows" in words[0]
    assert "0.3 % of an edge's light at most" in words[0]


def test_tables_name_every_colour_and_the_whole_frame():
    made = report(
        [zone("frame", 6.0), zone("frame", 7.0, channel="red"), zone("centre", 5.9)], [zone("frame", 0.5)]
    )
    by_aperture, wide, _ = glow_tables(made)
    assert [row[2] for row in by_aperture.rows] == ["6.0 ± 0.2", "0.5 ± 0.2"]
    assert wide.head == ["zone", "green", "red"]
    assert wide.rows[0] == ["whole frame", "6.0 ± 0.2", "7.0 ± 0.2"]
    assert wide.rows[1] == ["centre", "5.9 ± 0.2", "–"]
    assert len(report_tables(made)["glow_zones"]) == 4
    page = page_text(made)
    assert "Glow around edges" in page
    assert "lands 3.2 to 48 px away" in page


def test_without_glow_there_is_no_section():
    assert "Glow around edges" not in page_text(invented_report((2.8,), (300, 200)))


def test_the_map_can_be_coloured_by_the_glow_of_zones():
    made = report([zone("frame", 6.0), zone("centre", 5.0), zone("corner top-left", 8.0)], [zone("frame", 5.5)])
    (layer,) = [layer for layer in layers_of(made, made.settings[0]) if layer.quantity == "glow"]
    assert {name: cell[0] for name, cell in layer.zones.items()} == {"centre": 5.0, "corner top-left": 8.0}
    assert (layer.unit, layer.tiles) == ("%", {})
    # The second one has a mean over the frame alone.
    assert not [layer for layer in layers_of(made, made.settings[1]) if layer.quantity == "glow"]
