"""The page in Firefox: figures as Python's, nothing fetched, nothing on the console, playback, a phone.

Slow, and skipped where no Firefox is installed.
"""

from __future__ import annotations

import random
import re
import socket
import zlib
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

import sim
from sim.replication import prepare_site, simulate_traffic
from sim.show.page.data import Source
from tests.page.firefox import FIREFOX, Firefox
from tests.page.test_browser import MARKUP, compare, python_totals, write

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(FIREFOX is None, reason="no Firefox is installed"),
]
POSITIONS = 12


def count_pages(pdf: bytes) -> int:
    """Return how many pages a PDF has; what it packs is unpacked first."""
    text = pdf
    for packed in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        with suppress(zlib.error):
            text += zlib.decompress(packed)
    return len(re.findall(rb"/Type\s*/Page\b", text))


@pytest.fixture(scope="module")
def firefox(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Firefox]:
    one = Firefox(tmp_path_factory.mktemp("profile"))
    yield one
    one.close()


def open_page(firefox: Firefox, path: Path) -> None:
    firefox.events.clear()
    firefox.open(path.as_uri())
    firefox.evaluate("aislewake.opened")
    assert firefox.evaluate("document.documentElement.dataset.state") == "open"


def what_was_wrong(firefox: Firefox, path: Path) -> list[str]:
    """What the page said or fetched beside itself."""
    wrong = []
    for event in firefox.events:
        if event["method"] == "log.entryAdded":
            wrong.append(f"console: {event['params']['text']}")
        elif event["params"]["context"] == firefox.context:
            address = event["params"]["request"]["url"]
            if address != path.as_uri() and not address.startswith(("blob:", "data:")):
                wrong.append(f"request: {address}")
    return wrong


def move(firefox: Firefox, slider: str, value: float) -> None:
    firefox.evaluate(
        f"((one) => {{ one.value = {value}; one.dispatchEvent(new Event('input', {{bubbles: true}})); }})"
        f"(document.getElementById('{slider}'))"
    )


def move_at_random(firefox: Firefox, rng: random.Random, names: int) -> None:
    """Move sliders, and switch second delays on and off."""
    for place in range(names):
        if rng.random() < 0.3:
            firefox.evaluate(f"document.getElementById('set-{place}-second').click()")
        move(firefox, f"set-{place}-timeout_s", rng.uniform(30.0, 600.0))
        move(firefox, f"set-{place}-occupied_level", rng.uniform(50.0, 100.0))
        move(firefox, f"set-{place}-unoccupied_level", rng.uniform(0.0, 60.0))


@pytest.mark.parametrize("demo", ["pallet-reserve", "narrow-aisles", "cross-dock"])
def test_slider_positions_in_firefox_are_pythons(firefox: Firefox, demo: str, tmp_path: Path) -> None:
    scenario = sim.load(demo).model_copy(update={"title": MARKUP})
    site = prepare_site(scenario)
    traffics = [simulate_traffic(site, number) for number in range(2)]
    path = write(tmp_path, [Source("as planned", scenario)], 2)
    open_page(firefox, path)
    names, rng = firefox.evaluate("aislewake.page.settings.length"), random.Random(11)
    for _ in range(POSITIONS):
        move_at_random(firefox, rng, names)
        found = firefox.evaluate("aislewake.figures()")
        assert compare(found, python_totals(site, traffics, found["settings"])) == []
    # negative control: other settings are told apart
    told = [{**one, "timeout_s": one["timeout_s"] + 60.0} for one in found["settings"]]
    assert compare(found, python_totals(site, traffics, told)) != []
    assert "nine digits" in firefox.evaluate("document.getElementById('checked').textContent")
    assert firefox.evaluate("document.querySelector('h1').textContent") == MARKUP
    assert firefox.evaluate("document.querySelectorAll('img').length") == 0
    assert what_was_wrong(firefox, path) == []


def test_what_goes_wrong_in_firefox_is_noticed(firefox: Firefox, tmp_path: Path) -> None:
    """Negative control: a message, a request that the page's own policy stops, and one without a policy."""
    path = write(tmp_path, [Source("as planned", sim.load("cross-dock"))], 1)
    open_page(firefox, path)
    firefox.evaluate("console.info('hello')")
    with socket.socket() as closed:
        closed.bind(("127.0.0.1", 0))  # nobody listens there
        address = f"http://127.0.0.1:{closed.getsockname()[1]}/x.png"
        firefox.evaluate(f"fetch('{address}').catch(() => null)")
        bare = tmp_path / "bare.html"
        bare.write_text(f"<!DOCTYPE html><img src='{address}'>", encoding="utf-8")
        firefox.open(bare.as_uri())
    wrong = what_was_wrong(firefox, bare)
    assert "console: hello" in wrong
    assert any("blocked the loading" in one for one in wrong)
    assert f"request: {address}" in wrong
    firefox.open("about:blank")


def test_it_plays_fits_a_phone_and_prints_in_firefox(firefox: Firefox, tmp_path: Path) -> None:
    path = write(tmp_path, [Source("as planned", sim.load("cross-dock"))], 2)
    firefox.set_size(360, 740)
    open_page(firefox, path)
    assert firefox.evaluate("document.documentElement.scrollWidth") <= 360
    before = firefox.evaluate("aislewake.playback()")
    assert not before["isPlaying"]
    firefox.evaluate("document.getElementById('play-go').click()")
    firefox.evaluate("new Promise((resolve) => setTimeout(resolve, 600))")
    running = firefox.evaluate("aislewake.playback()")
    assert running["isPlaying"]
    assert running["now"] > before["now"]
    firefox.evaluate("document.getElementById('play-go').click()")
    assert not firefox.evaluate("aislewake.playback()")["isPlaying"]
    assert count_pages(firefox.print()) == 1
    # negative control: twice the text is more than a sheet
    firefox.evaluate("void (document.getElementById('checked').textContent = 'twice '.repeat(2000))")
    assert count_pages(firefox.print()) > 1
    assert what_was_wrong(firefox, path) == []
