"""Take the picture of the page that README.md shows: `python figures/shoot.py`, with Chromium installed.

Comes in: the default packaged site.  Goes out: page.png beside this script.  Needs the extra [test].
"""

from __future__ import annotations

import io
import shutil
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

import sim
from sim.show.page.data import Source
from sim.show.page.write import render_page

SIZE = {"width": 1180, "height": 940}
SETTLE_MS = 2500
COLOURS = 96


def main() -> None:
    """Write the page, shorten the day's timeout, and keep the first screen."""
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    scenario = sim.load()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        path = Path(folder) / "what-if.html"
        text = render_page([Source("as planned", scenario)], range(scenario.replications))
        path.write_text(text, encoding="utf-8", newline="\n")
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport=SIZE, device_scale_factor=1.25)
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-state=open]")
        page.fill("#price", "0.21")
        page.fill("#set-0-timeout_s-box", "120")
        page.keyboard.press("Enter")
        page.evaluate("document.activeElement.blur()")
        page.evaluate("scrollTo(0, 0)")
        page.evaluate("document.querySelector('.side').scrollTop = 0")
        page.wait_for_timeout(SETTLE_MS)
        picture = Image.open(io.BytesIO(page.screenshot()))
        browser.close()
    target = Path(__file__).parent / "page.png"
    # few colours: a fourth of the size, and nobody sees it
    picture.convert("RGB").quantize(COLOURS, Image.Quantize.MAXCOVERAGE).save(target, optimize=True)


if __name__ == "__main__":
    main()
