"""The page in a real browser: the same figures as Python at any slider position, and manners.

Chromium is driven by playwright; without either the tests are skipped. Nothing may be fetched, the console
stays empty, names are text, everything works by keyboard, at 360 px, and on one sheet of paper.
"""

from __future__ import annotations

import math
import os
import random
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

import sim
from sim.replication import Site, Traffic, prepare_site, replay_site, simulate_traffic
from sim.scenario.demos import demo_paths
from sim.scenario.schema import Scenario, Settings
from sim.scenario.tables.daylight import Skylight
from sim.scenario.toml import load
from sim.show.page.data import Source
from sim.show.page.write import MOST_BYTES, render_page
from sim.study.relight import relight, with_settings
from sim.study.year.money import count_money

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed")

DEMOS = ("pallet-reserve", "narrow-aisles", "cross-dock")
MARKUP = '<img src=x onerror="alert(1)"></script><script>alert(2)</script>'
TARIFF = """
[tariff]
currency = "EUR"
per_kwh = 0.2

[[energy_prices]]
days = ["Mon", "Tue", "Wed", "Thu", "Fri"]
from = "17:00"
to = "21:00"
months = [1, 2, 11, 12]
per_kwh = 0.5

[carbon]
g_per_kwh = 350
year = 2025
kind = "average"
source = "an invented table"
"""
COUNTS = ("dim_entries", "false_offs", "switch_ups", "switch_downs", "timetable_changes")
SLIDERS = {"timeout_s": 1.0, "occupied_level": 100.0, "unoccupied_level": 100.0}
SECOND = {"second_delay_s": 1.0, "second_level": 100.0}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as play:
        one = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield one
        one.close()


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page of one demo with two replications, a variant, and markup for a title and a variant's name."""
    scenario = sim.load("cross-dock").model_copy(update={"title": MARKUP})
    every = scenario.model_copy(
        update={"sensors": scenario.sensors.model_copy(update={"at": "every"}), "override": ()}
    )
    return write(tmp_path_factory.mktemp("page"), [Source("as planned", scenario), Source(MARKUP, every)], 2)


def write(folder: Path, sources: list[Source], replications: int) -> Path:
    path = folder / "what-if.html"
    path.write_text(render_page(sources, range(replications)), encoding="utf-8", newline="\n")
    return path


@contextmanager
def opened(
    browser: Any, path: Path, *, first: str = "", **words: Any
) -> Iterator[tuple[Any, list[str]]]:
    """Open a page without a network, after a script; yield it, and what should not have happened."""
    context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, "offline": True, **words})
    page = context.new_page()
    page.add_init_script(first)
    wrong: list[str] = []
    page.on("console", lambda message: wrong.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: wrong.append(f"error: {error}"))
    page.on("dialog", lambda dialog: (wrong.append(f"dialog: {dialog.message}"), dialog.dismiss()))
    page.on(
        "request",
        lambda request: None
        if request.url == path.as_uri() or request.url.startswith(("blob:", "data:"))
        else wrong.append(f"request: {request.url}"),
    )
    page.goto(path.as_uri())
    page.wait_for_selector("html[data-state=open]", timeout=60_000)
    yield page, wrong
    context.close()


def move(page: Any, slider: str, value: float) -> None:
    """Put a slider where a hand could put it."""
    told = "one.dispatchEvent(new Event('input', {bubbles: true}))"
    page.locator(f"#{slider}").evaluate(f"(one, value) => {{ one.value = value; {told}; }}", value)


def move_at_random(page: Any, rng: random.Random, names: int) -> None:
    """Move some of the sliders, and switch second delays on and off."""
    for place in range(names):
        if rng.random() < 0.3:
            page.locator(f"#set-{place}-second").click()
        has_second = page.locator(f"#set-{place}-second").is_checked()
        for key in (*SLIDERS, *(SECOND if has_second else ())):
            if rng.random() < 0.6:
                slider = page.locator(f"#set-{place}-{key}")
                low, high = (float(slider.get_attribute(end)) for end in ("min", "max"))
                # short timeouts are where the lights are busiest
                high = min(high, low + 600.0) if key == "timeout_s" and rng.random() < 0.7 else high
                move(page, f"set-{place}-{key}", rng.uniform(low, high))


def python_totals(site: Site, traffics: list[Traffic], told: list[dict[str, Any]]) -> list[dict[str, float]]:
    """What Python finds for the settings that the page says it shows."""
    keys = Settings.model_fields
    choice = {one["name"]: Settings(**{key: one[key] for key in keys}) for one in told}
    own = relight(site, with_settings(site.scenario, choice))
    return [dict(replay_site(own, traffic)[0].total) for traffic in traffics]


def compare(found: dict[str, Any], wanted: list[dict[str, float]]) -> list[str]:
    """Say where the page differs: counts exactly, all else to 1e-9."""
    wrong = []
    for name, values in found["total"].items():
        for place, value in enumerate(values):
            expected = wanted[place][name]
            tolerance = 0.0 if name in COUNTS else 1e-9
            if value != pytest.approx(expected, rel=tolerance, abs=tolerance):
                wrong.append(f"{name} {place}: {value}, by Python {expected}")
    return wrong


def try_positions(browser: Any, scenario: Scenario, path: Path, replications: int, count: int) -> None:
    site = prepare_site(scenario)
    traffics = [simulate_traffic(site, number) for number in range(replications)]
    rng = random.Random(7)
    with opened(browser, path) as (page, wrong):
        names = page.evaluate("aislewake.page.settings.length")
        for _ in range(count):
            move_at_random(page, rng, names)
            found = page.evaluate("aislewake.figures()")
            assert compare(found, python_totals(site, traffics, found["settings"])) == []
        # negative control: other settings are told apart
        told = [{**one, "timeout_s": one["timeout_s"] + 60.0} for one in found["settings"]]
        assert compare(found, python_totals(site, traffics, told)) != []
        assert "nine digits" in page.inner_text("#checked")
        assert wrong == []


def test_a_few_slider_positions_are_pythons(browser: Any, small: Path) -> None:
    try_positions(browser, sim.load("cross-dock"), small, 2, 4)


@pytest.mark.slow
@pytest.mark.parametrize("demo, is_skylit", [*((demo, False) for demo in DEMOS), ("pallet-reserve", True)])
def test_fifty_slider_positions_are_pythons(
    browser: Any, demo: str, is_skylit: bool, tmp_path: Path
) -> None:
    scenario = sim.load(demo)
    if is_skylit:
        caps = (*[1.0] * 7, 0.9, 0.65, 0.4, 0.2, 0.0, 0.0, 0.1, 0.3, 0.55, 0.8, *[1.0] * 7)
        skylight = Skylight(aisles=scenario.aisle_names[::2], caps=(caps,) * 12)
        scenario = scenario.model_copy(update={"skylight": skylight})
    path = write(tmp_path, [Source("as planned", scenario)], scenario.replications)
    assert path.stat().st_size <= MOST_BYTES
    try_positions(browser, scenario, path, scenario.replications, 50)


@pytest.mark.slow
@pytest.mark.parametrize("demo", DEMOS)
def test_a_move_is_shown_within_a_frame(browser: Any, demo: str, tmp_path: Path) -> None:
    """Median of 40 moves: computing in the worker, and showing in the page, each under 16 ms.

    A figure to read on a quiet machine: four times as much passes here.
    """
    scenario = sim.load(demo)
    path = write(tmp_path, [Source("as planned", scenario)], scenario.replications)
    with opened(browser, path) as (page, _):
        took = []
        for step in range(60):
            move(page, "set-0-timeout_s", 200 + 5 * step)
            took.append(page.evaluate("aislewake.figures()")["took_ms"])
    for part, name in enumerate(("computing", "showing")):
        median = sorted(one[part] for one in took[20:])[20]
        print(f"{demo}: {name} {median:.1f} ms")
        assert median < 4 * 16.0


def test_a_variant_is_another_site(browser: Any, small: Path) -> None:
    base = sim.load("cross-dock")
    every = base.model_copy(
        update={"sensors": base.sensors.model_copy(update={"at": "every"}), "override": ()}
    )
    site = prepare_site(every)
    traffics = [simulate_traffic(site, number) for number in range(2)]
    with opened(browser, small) as (page, wrong):
        page.select_option("#variant", "1")
        found = page.evaluate("aislewake.figures()")
        assert found["variant"] == 1
        assert compare(found, python_totals(site, traffics, found["settings"])) == []
        assert wrong == []


def test_it_computes_where_workers_are_forbidden(browser: Any, small: Path) -> None:
    """The same text then runs in the page, under the page's own policy."""
    site = prepare_site(sim.load("cross-dock"))
    traffics = [simulate_traffic(site, number) for number in range(2)]
    with opened(browser, small, first="delete globalThis.Worker") as (page, wrong):
        assert page.evaluate("typeof aislewakeEngine") == "function"
        move(page, "set-0-timeout_s", 120)
        found = page.evaluate("aislewake.figures()")
        assert compare(found, python_totals(site, traffics, found["settings"])) == []
        assert wrong == []


def test_a_browser_that_is_too_old_is_told(browser: Any, small: Path) -> None:
    """Without workers and a way to inflate in the page nothing is computed; the estimate still is."""
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.add_init_script("delete globalThis.Worker; delete globalThis.DecompressionStream")
    page.goto(small.as_uri())
    page.wait_for_selector("html[data-state=failed]")
    assert "a current one can" in page.inner_text("#sentence")
    assert page.locator("#quick-options tbody tr").count() == 3
    context.close()


def test_names_are_shown_as_text(browser: Any, small: Path) -> None:
    with opened(browser, small) as (page, wrong):
        assert page.inner_text("h1") == MARKUP
        assert page.title().startswith(MARKUP)
        assert MARKUP in page.locator("#variant option").all_inner_texts()[1]
        page.click("#pin")
        assert page.locator("img").count() == 0
        scripts = small.read_text(encoding="utf-8").count("</script>")
        assert page.evaluate("document.scripts.length") == scripts
        assert wrong == []


def test_it_works_by_keyboard_alone(browser: Any, small: Path) -> None:
    def go_to(page: Any, wanted: str, most: int = 120) -> None:
        for _ in range(most):
            if page.evaluate("document.activeElement.id") == wanted:
                return
            page.keyboard.press("Tab")
        raise AssertionError(f"{wanted} is not reached by Tab")

    with opened(browser, small, reduced_motion="reduce") as (page, wrong):
        before = page.evaluate("aislewake.figures()")
        go_to(page, "set-0-timeout_s")
        for _ in range(3):
            page.keyboard.press("ArrowRight")
        after = page.evaluate("aislewake.figures()")
        assert after["settings"][0]["timeout_s"] == before["settings"][0]["timeout_s"] + 15.0
        assert sum(after["total"]["energy_kwh"]) > sum(before["total"]["energy_kwh"])
        page.keyboard.press("Tab")
        page.keyboard.press("Control+A")
        page.keyboard.type("77.5")
        page.keyboard.press("Enter")
        assert page.evaluate("aislewake.figures()")["settings"][0]["timeout_s"] == 77.5
        go_to(page, "pin")
        page.keyboard.press("Enter")
        go_to(page, "reset")
        page.keyboard.press("Space")
        assert page.evaluate("aislewake.figures()")["settings"] == before["settings"]
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Enter")
        assert page.locator("#pins li").count() == 2
        assert page.locator("#pins-side").is_visible()
        assert page.locator("#pins-side thead th").all_inner_texts() == ["Figure", "A", "B", "B less A"]
        go_to(page, "copy")
        page.keyboard.press("Enter")
        page.locator("#copy-status", has_text="C").wait_for()
        assert wrong == []


def test_copied_settings_give_the_same_figures(browser: Any, small: Path, tmp_path: Path) -> None:
    """The text replaces the tables of the same name in the scenario's own file."""
    with opened(browser, small) as (page, _):
        move_at_random(page, random.Random(3), page.evaluate("aislewake.page.settings.length"))
        found = page.evaluate("aislewake.figures()")
        text = page.input_value("#toml")
    kept, is_settings = [], False
    for line in demo_paths()["cross-dock"].read_text(encoding="utf-8").splitlines():
        if line.startswith("["):
            is_settings = line.startswith("[lighting.settings.")
        if not is_settings:
            kept.append(line)
    path = tmp_path / "site.toml"
    path.write_text("\n".join(kept) + "\n" + text, encoding="utf-8")
    site = prepare_site(load(path))
    wanted = [dict(replay_site(site, simulate_traffic(site, number))[0].total) for number in range(2)]
    assert compare(found, wanted) == []


def test_prices_show_money_and_carbon(browser: Any, small: Path) -> None:
    """A year of 365 days is 52 of the run's weeks and one day more: by hand between 52 and 53 weeks."""
    with opened(browser, small) as (page, wrong):
        assert page.evaluate("aislewake.figures()")["rows"]["cost_per_year"] is None
        page.fill("#price", "0.25")
        page.fill("#carbon", "400")
        found = page.evaluate("aislewake.figures()")
        for week, cost, kg in zip(
            found["total"]["energy_kwh"], found["rows"]["cost_per_year"], found["rows"]["carbon_kg_per_year"],
            strict=True,
        ):
            assert 52.0 * week < cost / 0.25 < 53.0 * week
            assert kg == pytest.approx(0.4 * cost / 0.25, rel=1e-12)
        assert wrong == []


def test_a_tariff_is_that_of_the_report(browser: Any, tmp_path: Path) -> None:
    """Energy of a year hour by hour, and its carbon, as `study/year/money` counts them."""
    path = tmp_path / "site.toml"
    text = demo_paths()["cross-dock"].read_text(encoding="utf-8")
    path.write_text(text + TARIFF, encoding="utf-8")
    scenario = load(path)
    money = count_money(sim.run(scenario, replications=2))
    assert money is not None
    with opened(browser, write(tmp_path, [Source("as planned", scenario)], 2)) as (page, wrong):
        found = page.evaluate("aislewake.figures()")["rows"]
        assert page.locator("#price-row").is_hidden()
        names = ("cost_per_year", "saved_per_year", "carbon_kg_per_year")
        mean = {name: sum(found[name]) / 2 for name in names}
        assert mean["cost_per_year"] == pytest.approx(money.energy.here.mean, rel=1e-9)
        assert mean["saved_per_year"] == pytest.approx(money.energy.saved.mean, rel=1e-9)
        assert mean["carbon_kg_per_year"] == pytest.approx(1000.0 * money.carbon_t.here.mean, rel=1e-9)
        assert wrong == []


@pytest.mark.parametrize("width", [360, 768, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_sticks_out_and_colours_follow(browser: Any, small: Path, width: int, scheme: str) -> None:
    size = {"width": width, "height": 740}
    with opened(browser, small, viewport=size, color_scheme=scheme) as (page, wrong):
        page.click("#pin")
        page.click("#pin")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert (paper == "rgb(255, 255, 255)") == (scheme == "light")
        assert wrong == []


def test_it_prints_on_one_sheet(browser: Any, small: Path) -> None:
    """A second page can't be printed because there is none."""
    with opened(browser, small) as (page, _):
        assert page.pdf(prefer_css_page_size=True, page_ranges="1")[:5] == b"%PDF-"
        with pytest.raises(playwright.Error, match="exceeds page count"):
            page.pdf(prefer_css_page_size=True, page_ranges="2")


def test_charts_are_printed_in_the_colours_of_paper(browser: Any, small: Path) -> None:
    """By the button and by the usual keys, however dark the screen is; afterwards as before."""
    axis = "Bokeh.documents[0].roots()[0].below[0].major_label_text_color"
    with opened(browser, small, color_scheme="dark") as (page, wrong):
        page.evaluate("globalThis.printed = 0; globalThis.print = () => { printed += 1; }; null")
        dark = page.evaluate(axis)
        page.click("#print")
        page.wait_for_timeout(400)
        page.keyboard.press("Control+p")
        page.wait_for_timeout(400)
        assert page.evaluate("globalThis.printed") == 2
        assert page.evaluate(axis) not in (dark, None)
        page.evaluate("dispatchEvent(new Event('afterprint'))")
        assert page.evaluate(axis) == dark
        assert wrong == []


def test_a_log_without_trucks_has_a_page_too(browser: Any, tmp_path: Path) -> None:
    site = prepare_site(sim.load("cross-dock"))
    motion = Traffic(None, None, simulate_traffic(site, 0).detections, 0)
    path = write(tmp_path, [Source("as measured", site.scenario, motion)], 1)
    with opened(browser, path) as (page, wrong):
        found = page.evaluate("aislewake.figures()")
        wanted = [dict(replay_site(site, motion)[0].total)]
        known = {name: row for name, row in found["total"].items() if not math.isnan(wanted[0][name])}
        assert compare({"total": known}, wanted) == []
        assert "dim_truck_s_per_day" not in found["rows"]
        assert page.inner_text("#sentence").startswith("These settings save")
        assert wrong == []


def test_the_quick_estimate_answers(browser: Any, small: Path) -> None:
    with opened(browser, small) as (page, wrong):
        page.fill("#quick-visits_per_h", "40")
        first = page.locator("#quick-options tbody tr").all_inner_texts()
        assert [row.split("\t")[0] for row in first] == ["lean", "balanced", "cautious"]
        page.fill("#quick-cost_per_aisle", "800")
        assert "no cost" not in page.inner_text("#quick-options")
        page.fill("#quick-aisles", "")
        assert page.get_attribute("#quick-aisles", "aria-invalid") == "true"
        assert page.locator("#quick-options tbody tr").count() == 0
        assert wrong == []


@pytest.mark.skipif("AXE_JS" not in os.environ, reason="AXE_JS does not name axe.min.js (.ci/run fetches it)")
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_violation(browser: Any, small: Path, scheme: str) -> None:
    """axe-core's whole set of rules; it must be let past the page's own policy."""
    with opened(browser, small, bypass_csp=True, color_scheme=scheme) as (page, _):
        page.click("#pin")
        move(page, "set-0-timeout_s", 600)
        page.evaluate("aislewake.figures()")
        page.click("#pin")
        page.add_script_tag(path=os.environ["AXE_JS"])
        found = page.evaluate("axe.run(document)")["violations"]
        assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found] == []
        # negative control: a picture without words instead of it, and a grey that nobody can read
        page.evaluate("""() => document.querySelector('main').insertAdjacentHTML('beforeend',
            '<img src="data:,"><p style="color: #ccc; background: #ddd">grey</p>')""")
        spoilt = {one["id"] for one in page.evaluate("axe.run(document)")["violations"]}
        assert {"image-alt", "color-contrast"} <= spoilt
