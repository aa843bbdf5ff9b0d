"""The guide's pages: links lead somewhere, every warning is explained, figures are those of the handbooks."""

import re
from pathlib import Path

import pytest

import lensbench
from lensbench.cli import COMMANDS
from lensbench.optics import depth_of_field, perfect_mtf, quarter_wave_field
from tests.bench.gauntlet.causes import CAUSES

ROOT = Path(lensbench.__file__).parents[1]
GUIDE = ROOT / "lensbench" / "guide"
PAGES = sorted(GUIDE.glob("*.md"))


@pytest.mark.parametrize("page", [*PAGES, ROOT / "README.md", ROOT / "sample_targets" / "README.md"], ids=str)
def test_links_and_pictures_are_there(page):
    links = re.findall(r"\]\(([^)#\s]+)", page.read_text(encoding="utf-8"))
    missing = [link for link in links if "://" not in link and not (page.parent / link).exists()]
    assert missing == []


def test_every_page_can_be_reached_from_the_readme():
    reached, todo = set(), [ROOT / "README.md"]
    while todo:
        page = todo.pop().resolve()
        if page in reached or page.suffix != ".md":
            continue
        reached.add(page)
        todo += [
            page.parent / link for link in re.findall(r"\]\(([^)#\s]+\.md)", page.read_text(encoding="utf-8"))
        ]
    assert {page.resolve() for page in PAGES} <= reached


def test_trouble_lists_every_warning_that_a_report_may_hold():
    """A new code wants a line in troubleshooting.md: what it says, why, and what to do."""
    sources = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "lensbench").rglob("*.py"))
    codes = set(re.findall(r'Notice\(\s*"([a-z-]+)"', sources)) | {"rulers", "rail-readings"}
    assert len(codes) > 20, "the codes weren't found"
    told = set(re.findall(r"`([a-z-]+)`", (GUIDE / "troubleshooting.md").read_text(encoding="utf-8")))
    assert codes - told == set()


def test_commands_in_the_guide_exist():
    pages = "\n".join(page.read_text(encoding="utf-8") for page in PAGES)
    named = set(re.findall(r"^    lensbench (\w+)", pages, re.MULTILINE))
    assert len(named) > 4
    assert named <= set(COMMANDS)


def test_figures_of_life_size_are_the_handbooks():
    """Sheet to sensor f (2 + m + 1/m) for a thin lens (Gaussian optics); the other values as in Smith, Modern
    Optical Engineering (memory, recomputed)."""
    text = (GUIDE / "life_size.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ([\d.]+) \| ([\d.]+) f \| ([\d.]*) ?f \|", text, re.MULTILINE)
    assert [float(m) for m, _, _ in rows] == [0.33, 0.5, 1, 2]
    for m, whole, extension in rows:
        assert float(whole) == pytest.approx(2 + float(m) + 1 / float(m), abs=0.06)
        assert float(extension or 1) == pytest.approx(float(m))
    # Half of contrast of a perfect lens at f/16 and 550 nm: 0.4040 of the cut-off, 113.6 lp/mm.
    assert "46 lp/mm" in text
    assert float(perfect_mtf(46, 550e-6, 16.0)) == pytest.approx(0.5, abs=0.005)
    assert "0.96 mm" in text
    assert depth_of_field(8, 1, 0.030) == pytest.approx(0.96)
    assert "± 0.28 mm" in text
    assert float(quarter_wave_field(8, 1, 550e-6)) == pytest.approx(0.28, abs=0.003)
    assert "42 µm: seven pixels of 6 µm" in text
    assert round(25_400 / 600) == 42


def test_typical_values_say_that_they_are_common_practice():
    text = (GUIDE / "typical_values.md").read_text(encoding="utf-8")
    assert "**common practice**" in text
    # lp/mm beside cy/px, for the pixels of 6 µm that the page names.
    pairs = re.findall(r"([\d.]+)–([\d.]+)(?:,[^(|]*)? \((\d+)–(\d+)\)", text)
    assert len(pairs) > 12
    for low, high, low_mm, high_mm in pairs:
        assert float(low_mm) == pytest.approx(float(low) / 0.006, abs=0.6)
        assert float(high_mm) == pytest.approx(float(high) / 0.006, abs=0.6)


@pytest.mark.parametrize(
    ("page", "words"),
    [
        ("first_hour.md", ("sun", "Lamps get hot")),
        ("life_size.md", ("sun", "Blades cut", "capacitors", "Local rules", "laser", "sharp edges")),
        ("blades.md", ("Blades cut", "sun", "sharps bin", "Lamps")),
        ("dirt.md", ("Never mix", "asbestos", "radioactive")),
        ("light.md", ("sun", "Lamps")),
    ],
)
def test_cautions_stand_where_the_hand_is(page, words):
    text = (GUIDE / page).read_text(encoding="utf-8")
    assert [word for word in words if word.lower() not in text.lower()] == []


def test_what_no_shot_reveals_of_the_gauntlets_causes_is_listed():
    """The bench counts a wrong figure as such only where the guide warns of the cause in these very words."""
    text = (GUIDE / "troubleshooting.md").read_text(encoding="utf-8")
    listed = " ".join(text.split("## What no shot can reveal")[1].split("\n## ")[0].split())
    sentences = {hidden.sentence for cause in CAUSES for hidden in cause.hidden}
    assert len(sentences) > 4
    assert [sentence for sentence in sorted(sentences) if sentence not in listed] == []
    # Never a way out for all strengths of what has a notice of its own.
    always = {cause.name for cause in CAUSES if all(map(cause.unrevealed, cause.strengths))}
    assert always == {"red-for-blue"}
