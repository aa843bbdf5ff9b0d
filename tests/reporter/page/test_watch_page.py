"""The live page in a real browser: accessible in light and dark, loads itself anew, and can be held."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from lensbench.figure import Figure
from lensbench.watch import SPOTS, Look, Problem
from lensbench.watch._looks import Change, Exposure, Spot
from lensbench.watch._page import page_text


def look(name, value, **more):
    spots = [Spot(spot, Figure.of(value, 0.002, "cy/px")) for spot in SPOTS]
    return Look(name, "target", (600, 400), 5.6, spots=spots, softest_corner_percent=90.0, pixel_pitch_um=6.0,
                covered_percent=100.0, exposure=Exposure("green", 74.0, False, 0.02), **more)  # fmt: skip


LOOKS = {
    "waiting": [],
    "good": [
        look("a.dng", 0.2),
        look("b.dng", 0.3, since_last=Change("a.dng", {"centre": Figure.of(50, 1, "%")})),
    ],
    "problems": [look("a.dng", 0.2, problems=[Problem("clipped", "white is clipped.")], notes=["a note"])],
    "unreadable": [look("a.dng", 0.2), Look("b.dng", error="b.dng: is cut short.")],
}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", LOOKS)
def test_accessibility_rules_find_nothing(opened, tmp_path, scheme, name):
    """All rules of axe-core (Deque Systems), the advice on best practice included."""
    path = tmp_path / "watch.html"
    path.write_text(page_text(LOOKS[name]), encoding="utf-8")
    with opened(path, color_scheme=scheme) as page:
        page.get_by_role("button", name="Hold").click()
        found = Axe().run(page).response["violations"]
        assert [(rule["id"], rule["nodes"][0]["html"][:200]) for rule in found] == []
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_it_loads_itself_anew_unless_it_is_held(opened, tmp_path):
    path = tmp_path / "watch.html"
    path.write_text(page_text(LOOKS["good"]), encoding="utf-8")
    with opened(path) as page:
        path.write_text(page_text(LOOKS["problems"]), encoding="utf-8")
        page.get_by_text("Not yet:").wait_for(timeout=60_000)
        page.get_by_role("button", name="Hold").click()
        path.write_text(page_text(LOOKS["good"]), encoding="utf-8")
        page.wait_for_timeout(2500)
        assert page.get_by_text("Not yet:").is_visible()
        page.get_by_role("button", name="Held: go on").click()
        page.get_by_text("Good to go on with.").wait_for(timeout=60_000)
