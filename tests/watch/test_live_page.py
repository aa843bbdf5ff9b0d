"""The live page: written whole, over nothing of the user's, strict about what a browser may do."""

import base64
import hashlib
import re

import pytest
from msgspec import structs

from lensbench.errors import BenchError
from lensbench.watch import LivePage
from lensbench.watch._page import page_text


def test_it_shows_the_latest_shot_and_loads_itself_anew(tmp_path, seen):
    page = LivePage(tmp_path / "watch.html")
    text = (tmp_path / "watch.html").read_text()
    assert "Waiting" in text
    page.write([seen["good"].look, seen["leaning"].look])
    text = (tmp_path / "watch.html").read_text()
    assert "leaning.dng" in text
    assert "Not yet:" in text
    assert 'http-equiv="refresh"' in text
    page.write([seen["good"].look], running=False)
    assert 'http-equiv="refresh"' not in (tmp_path / "watch.html").read_text()
    assert [path.name for path in tmp_path.iterdir()] == ["watch.html"]


def test_its_policy_lets_in_its_own_style_and_script_and_nothing_else(seen):
    """Content Security Policy Level 3 (W3C): a hash is that of the text between the tags."""
    text = page_text([seen["good"].look])
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)[1]
    assert "default-src 'none'" in policy
    for tag in ("style", "script"):
        (inside,) = re.findall(rf"<{tag}>(.*?)</{tag}>", text, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert "unsafe" not in policy
    assert not re.search(r"\son\w+=|style=|https?://", text)
    assert "<script" not in page_text([seen["good"].look], running=False)


def test_names_from_files_are_no_markup(seen):
    look = structs.replace(seen["good"].look, file="<img src=x onerror=alert(1)>.dng")
    assert "<img" not in page_text([look, look])


@pytest.mark.parametrize("change", ["other", "edited", "folder", "link"])
def test_what_is_not_its_own_stays(tmp_path, change):
    path = tmp_path / "watch.html"
    if change == "folder":
        path.mkdir()
    elif change == "link":
        (tmp_path / "mine.html").write_text("mine")
        path.symlink_to(tmp_path / "mine.html")
    elif change == "edited":
        LivePage(path)
        path.write_text(path.read_text().replace("Waiting", "Mine"))
    else:
        path.write_text("my own page")
    before = None if change == "folder" else path.read_bytes()
    with pytest.raises(BenchError, match="stays"):
        LivePage(path)
    assert path.is_dir() if change == "folder" else path.read_bytes() == before


def test_an_earlier_page_is_replaced(tmp_path):
    LivePage(tmp_path / "watch.html")
    LivePage(tmp_path / "watch.html")
