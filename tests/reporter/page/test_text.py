"""The page as text: whole in itself, escaped, readable without eyes, honest about what is missing."""

import re
from html.parser import HTMLParser

import pytest

from lensbench.findings import Build, Camera, Dust, Notice, Report, Setting
from lensbench.reporter.page import page_text
from tests.findings.alter import alter
from tests.reporter.invented import invented_report

SIZE = (1200, 800)
VOID = {"meta", "link", "img", "br", "hr", "input"}


class Outline(HTMLParser):
    """Collects tags with their attributes and text; fails on tags that don't match."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.text, self.open = [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if not {"style", "svg", "title", "script"} & set(self.open):
            self.text.append(data)

    def all(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]

    @property
    def words(self):
        return re.sub(r"\s+", " ", " ".join(self.text))


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    return Outline(page_text(invented_report((2.8, 5.6), SIZE)))


def test_nothing_is_fetched(page):
    for tag, attrs in page.tags:
        for name in ("src", "href", "xlink:href", "action", "srcset", "data"):
            value = attrs.get(name)
            assert value is None or value.startswith(("data:", "#")), (tag, name, value[:60])
    kinds = [attrs.get("type") for attrs in page.all("script")]
    assert kinds == ["application/json", None]


def test_no_style_reaches_out():
    text = page_text(invented_report((2.8,), SIZE, clean=True))
    styles = " ".join(re.findall(r"<style>(.*?)</style>", text, re.DOTALL))
    assert "@import" not in styles
    assert not re.search(r"url\(\s*['\"]?(?!#)", styles)


def test_answers_come_first_then_the_map_then_what_to_do_then_figures(page):
    words = page.words
    order = [
        "In short",
        "f/5.6",
        "The zone map",
        "What to do next",
        "Before you trust it",
        "The target leans",
        "by distance, curves",
        "Dirt",
    ]
    places = [words.lower().index(word.lower()) for word in order]
    assert places == sorted(places)


def test_figures_stand_with_their_intervals(page):
    report = invented_report((2.8, 5.6), SIZE)
    centre = next(z.mtf50_lp_mm for z in report.settings[0].sharpness.zones if z.channel == "green")
    assert re.search(rf"{centre.value:.1f}\d* ± 0\.\d+", page.words)
    assert "0.4987 ± 0.0011 ×" in page.words
    assert (
        "Straight lines bow outward (barrel distortion): the corners lie 1.342 ± 0.012 % farther in" in page.words
    )
    assert "its right side is turned 1.81 ± 0.09 ° away" in page.words
    assert "of green, which puts the two 3.60 ± 0.02 px apart" in page.words


def test_no_figure_has_more_digits_than_its_interval_allows(page):
    """One digit of the interval, two where the first is a 1; the figure stops where its interval does (Taylor)."""
    pairs = re.findall(r"(\d[\d.]*) ± (\d[\d.]*)", page.words)
    assert len(pairs) > 100
    for value, half in pairs:
        digits = half.replace(".", "").lstrip("0")
        if "." in half or int(half) < 20:
            assert len(digits) == 1 or (len(digits) == 2 and digits[0] == "1"), (value, half)
        assert len(value.partition(".")[2]) == len(half.partition(".")[2]), (value, half)


def test_apertures_stand_side_by_side(page):
    caption = "Apertures by MTF50 in lp/mm, averaged over the area; of several setups their mean"
    assert f"{caption} aperture setups whole frame centre corners f/5.6 1 " in page.words


def test_tables_and_pictures_speak(page):
    tables, captions = page.all("table"), page.all("caption")
    assert len(tables) == len(captions) > 6
    assert all(attrs.get("scope") in ("col", "row", "colgroup") for attrs in page.all("th"))
    assert all(attrs.get("alt") for attrs in page.all("img"))
    drawings = [attrs for tag, attrs in page.tags if attrs.get("role") == "img"]
    # Four a setting, the four faces, both views of the lean, the distortion and the centres.
    assert len(drawings) == 2 * 4 + 4 + 2 + 2
    assert all(attrs["aria-label"] for attrs in drawings)
    assert page.all("html")[0]["lang"] == "en"
    headings = [attrs["id"] for attrs in page.all("h2") if "id" in attrs]
    assert len(set(headings)) == len(headings)
    assert {attrs["aria-labelledby"] for attrs in page.all("section") if "aria-labelledby" in attrs} < set(
        headings
    )
    # Nothing but the first screen is open.
    assert page.all("details")
    assert not any("open" in attrs for attrs in page.all("details"))


def test_what_people_write_is_shown_not_run():
    report = invented_report((2.8,), SIZE)
    evil = '<script>alert("x")</script><img src=x onerror=alert(1)>'
    alter(report, build=Build(evil, [evil], evil))
    alter(report, warnings=[Notice("x", evil, evil)])
    alter(report.settings[0], aperture=evil, f_number=None)
    alter(report.settings[0], shots=[evil])
    page = Outline(page_text(report))
    assert len(page.all("script")) == 2
    assert len(page.all("img")) == 1
    assert page.words.count("alert(1)") >= 5


def test_a_report_with_almost_nothing_says_so():
    setting = Setting(aperture="third click", shots=["flat.dng"], dust=Dust([]))
    page = Outline(page_text(Report(Build("bare"), Camera(SIZE), settings=[setting])))
    assert "Not measured" in page.words
    assert "Clean" in page.words
    assert "Where colours land" not in page.words
    assert "Size and view" not in page.words
    assert "Before you trust it" not in page.words
    assert "None" not in page.words
    assert "nan" not in page.words.lower()
