"""A sheet opened in a browser."""

import pytest
from paper_tracks import SAMPLES

from trackkit.paper.draw import write_paper
from trackkit.track.file import read_track


@pytest.mark.slow
def test_the_svg_opens_in_a_browser_at_the_size_of_the_sheet(browser, tmp_path):
    path = tmp_path / "track.svg"
    write_paper(read_track(SAMPLES[0]), path)
    asked = []
    page = browser.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    width = page.evaluate("document.documentElement.width.baseVal.value")
    shapes = page.evaluate("document.querySelectorAll('path').length")
    page.close()
    # CSS pixels are 1/96 inch (CSS Values and Units Level 3).
    assert width == pytest.approx(297.0 / 25.4 * 96, rel=1e-3)
    assert shapes > 50
    assert asked == [path.as_uri()]
