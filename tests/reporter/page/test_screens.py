"""The page fits its screen, speaks, prints, and lets nothing in: in a real browser."""

import re
import shutil
import subprocess

import pytest
from axe_playwright_python.sync_playwright import Axe

from lensbench.findings import Build, Notice
from lensbench.reporter.page import page_text
from tests.findings.alter import alter
from tests.reporter.conftest import SIZE, invented_views
from tests.reporter.invented import invented_report

OPEN_ALL = "document.querySelectorAll('details').forEach(one => one.open = true)"


@pytest.mark.parametrize("width", [360, 500, 800, 1280, 1920, 2560, 3840])
def test_nothing_is_wider_than_the_screen(opened, invented_page, width):
    with opened(invented_page, width=width) as page:
        closed = page.evaluate("document.documentElement.scrollWidth")
        page.evaluate(OPEN_ALL)
        page.locator('[data-place="zone:corner top-left"]').focus()
        assert page.evaluate("innerWidth") == width
        assert (closed, page.evaluate("document.documentElement.scrollWidth")) <= (width, width)


@pytest.mark.parametrize(("width", "most"), [(360, 4), (1280, 2)])
def test_page_is_short_until_asked(opened, invented_page, width, most):
    """In screens of 900 px: on a phone it was thirty."""
    with opened(invented_page, width=width) as page:
        assert page.evaluate("document.documentElement.scrollHeight") <= most * 900


def test_first_screen_answers(opened, invented_page):
    with opened(invented_page) as page:
        for what in (".answers", ".livemap", "#next + ol"):
            box = page.locator(what).bounding_box()
            assert box["y"] + box["height"] <= 900, what


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("inside", ["closed", "open", "without script"])
def test_accessibility_rules_find_nothing(opened, invented_page, scheme, inside):
    """All rules of axe-core (Deque Systems), the advice on best practice included."""
    if inside == "without script":
        # axe itself is a script, which the driver runs: only the page's own does not.
        text = invented_page.read_text().replace("live.hidden = false;", "return;")
        text = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text)
        path = invented_page.with_name("without_script.html")
        path.write_text(text)
    else:
        path = invented_page
    with opened(path, color_scheme=scheme) as page:
        if inside == "open":
            page.evaluate(OPEN_ALL)
            page.locator('[data-place="zone:inner top-left"]').focus()
        found = Axe().run(page).response["violations"]
        assert [(rule["id"], rule["nodes"][0]["html"][:200]) for rule in found] == []


def test_page_prints_on_four_sheets(opened, invented_page, tmp_path):
    pdf = tmp_path / "report.pdf"
    with opened(invented_page) as page:
        page.pdf(path=pdf, prefer_css_page_size=True)
    content = pdf.read_bytes()
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", content)) <= 4
    if shutil.which("pdftotext"):
        text = subprocess.run(
            ["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True
        ).stdout
        for said in (
            "Which aperture?",
            "What to do next",
            "corner bottom right",
            "Where to wipe",
            "Reproduction ratio",
        ):
            assert said in text


def test_everything_is_there_without_script(opened, invented_page):
    with opened(invented_page, java_script_enabled=False) as page:
        assert page.locator(".still").is_visible()
        assert page.locator("#live").is_hidden()
        page.locator("summary", has=page.locator("#sharp")).click()
        assert page.get_by_text("MTF50 in lp/mm, green").first.is_visible()


def test_what_people_write_is_drawn_as_text(opened, tmp_path):
    """Names and notes from files: markup, quotes, escapes, and a way out of each place that they stand in."""
    evil = (
        "</script><script>window.hit=1</script><img src=x onerror=window.hit=1>\"'><svg onload=window.hit=1>"
        "{{ 7*7 }} $\\frac{$ ${7*7} \\u003cb\\u003e &lt;b&gt; \x1b[31m javascript:window.hit=1 "
        "</title></style><!--"
    )
    report = invented_report((2.8,), SIZE)
    alter(report, build=Build(evil, [evil], evil, evil), warnings=[Notice("left-out", evil, evil)])
    alter(report.camera, model=evil)
    alter(report.settings[0], aperture=evil, f_number=None, shots=[evil])
    path = tmp_path / "report.html"
    views = invented_views(report)
    path.write_text(page_text(report, None, [alter_shot(view, report, evil) for view in views]), encoding="utf-8")
    with opened(path) as page:
        page.evaluate(OPEN_ALL)
        page.locator('[data-place="zone:centre"]').click()
        shown = re.sub(r"\s+", " ", page.locator("body").inner_text())
        assert page.evaluate("window.hit") is None
        assert re.sub(r"\s+", " ", evil) in shown
        assert shown.count("</script><script>window.hit=1</script>") >= 6
        assert "49" not in page.title()
        assert page.locator("img").count() == 1
        assert page.locator("script").count() == 2
        assert evil in page.locator(".panel h3").inner_text()
        assert page.title().startswith(evil[:40])


def alter_shot(view, report, name):
    """A view whose shot has another name, and the edges that are of it."""
    import dataclasses

    for edge in report.settings[0].sharpness.edges:
        if edge.shot == view.shot:
            alter(edge, shot=name)
    return dataclasses.replace(view, shot=name)


def test_policy_lets_no_other_script_or_style_run(browser, invented_page, tmp_path):
    """What the policy forbids, were it ever to get into the page, doesn't run, load or take effect."""
    smuggled = (
        '<script>window.hit = "inline"</script>'
        '<b id="styled" style="color: rgb(1, 2, 3)" onclick="window.hit=2">x</b>'
        '<img src="file:///nowhere.png"><iframe src="data:text/html,x"></iframe></body>'
    )
    path = tmp_path / "smuggled.html"
    path.write_text(invented_page.read_text().replace("</body>", smuggled))
    context = browser.new_context()
    page, refused = context.new_page(), []
    page.on("console", lambda message: refused.append(message.text))
    page.goto(path.as_uri())
    page.locator("#styled").click()
    assert page.evaluate("window.hit") is None
    assert page.evaluate("getComputedStyle(document.getElementById('styled')).color") != "rgb(1, 2, 3)"
    for what in ("script-src", "style-src", "img-src", "default-src"):
        assert any(what in text for text in refused), what
    context.close()
