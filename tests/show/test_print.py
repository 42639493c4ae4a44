"""Reports on paper: the summary fits the first page, no page is blank, nothing is cut at the right edge.

Chromium lays out and prints, driven by playwright; without either the tests are skipped. Pages are counted in
the PDF itself, by a small reader that knows what Chromium writes.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from sim.floor.layout import lay_out
from sim.scenario.demos import find_scenario
from sim.scenario.schema import Scenario
from sim.scenario.toml import load
from sim.show.figures.draw import draw_figures
from sim.show.folders.handover import render_handover
from sim.show.folders.recommend import render_recommendation
from sim.show.folders.worksheet import render_worksheet
from sim.show.reports.run import render_report
from sim.show.words.cautions import cautions
from sim.study.decide.recommend import recommend
from sim.study.decide.wish import make_wish, with_wishes
from sim.study.replications.replicate import run
from sim.verification.worksheet import make_worksheet
from tests.show.made_papers import KINDS, pack_of, paper
from tests.show.made_results import make_scenario

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed")

PX_PER_MM = 96.0 / 25.4
PAPER_MM = 210.0
MARGINS_MM = {"handover": 14.0}
"""Of a side, as the pages' own style says; 16 mm elsewhere."""
EMPTY_PAGE = "<div style='break-before: page; height: 5mm'></div>"
QUICK = {"run", "recommend", "handover"}
LONG_WORD = "<table><tr><td style='white-space: nowrap'>" + 200 * "unbroken" + "</td></tr></table>"


def streams(pdf: bytes) -> list[bytes]:
    """Return what is drawn on each page of a PDF as Chromium writes it: plain objects, deflated contents."""
    objects = {
        int(match[1]): match[2] for match in re.finditer(rb"\n(\d+) 0 obj\s(.*?)\sendobj", pdf, re.DOTALL)
    }
    pages = []
    for body in objects.values():
        if not re.search(rb"/Type\s*/Page\b", body):
            continue
        number = re.search(rb"/Contents (\d+) 0 R", body)
        assert number is not None
        content = objects[int(number[1])]
        head, _, rest = content.partition(b"stream")
        data = rest.lstrip(b"\r\n").rpartition(b"endstream")[0]
        pages.append(zlib.decompress(data) if b"FlateDecode" in head else data)
    return pages


def marks(stream: bytes) -> int:
    """Count texts and pictures that a page shows."""
    return len(re.findall(rb"\bT[jJ]\b|\bDo\b", stream))


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as play:
        one = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield one
        one.close()


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    context = browser.new_context(offline=True, viewport={"width": 794, "height": 1123})
    yield context.new_page()
    context.close()


def printed(page: Any) -> bytes:
    """The page as PDF, with its own paper and margins."""
    data: bytes = page.pdf(prefer_css_page_size=True)
    return data


def pages_of_summary(page: Any) -> int:
    """Print what stands before the contents alone; say how many pages that takes."""
    page.evaluate(
        """() => {
            const last = document.querySelector('.summary, .cover');
            for (let one = last; one !== document.body; one = one.parentNode) {
                while (one.nextSibling) one.nextSibling.remove();
            }
            last.style.breakAfter = 'auto';
        }"""
    )
    return len(streams(printed(page)))


def faults(page: Any, text: str, kind: str) -> list[str]:
    """Return what is wrong with a report on paper, [] where nothing is."""
    found = []
    page.set_content(text)
    pages = streams(printed(page))
    page.emulate_media(media="print")
    width = round((PAPER_MM - 2.0 * MARGINS_MM.get(kind, 16.0)) * PX_PER_MM)
    page.set_viewport_size({"width": width, "height": 990})
    wide, room = page.evaluate(
        "() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    if wide > room:
        found.append(f"cut at the right edge: {wide} px in {room} px")
    starts = page.evaluate(
        """() => {
            const summary = document.querySelector('.summary, .cover');
            const next = document.querySelector('.sheet');
            return [getComputedStyle(summary).breakAfter, next ? getComputedStyle(next).breakBefore : ''];
        }"""
    )
    if "page" not in starts:
        found.append("the evidence does not begin on a page of its own")
    page.emulate_media(media="null")  # back to what it is for: print on paper, screen on a screen
    count = pages_of_summary(page)
    if count != 1:
        found.append(f"the summary takes {count} pages")
    # what a page has of itself: its number and the line at its foot
    page.evaluate("() => document.body.replaceChildren()")
    foot = marks(streams(printed(page))[0])
    blank = [number + 1 for number, stream in enumerate(pages) if marks(stream) <= foot]
    if blank:
        found.append(f"blank pages: {blank}")
    if len(pages) < 2:
        found.append("no evidence")
    return found


@pytest.mark.parametrize(
    "kind",
    [
        "run", "recommend", "handover",
        *(pytest.param(kind, marks=pytest.mark.slow) for kind in sorted({*KINDS} - QUICK)),
    ],
)
def test_a_report_prints_well(kind: str, page: Any) -> None:
    assert faults(page, paper(kind), kind) == []


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (
            lambda text: text.replace("</section>", 25 * "<p>One more.</p>" + "</section>", 1),
            "the summary takes 2",
        ),
        (lambda text: text.replace("</main>", LONG_WORD + "</main>"), "cut at the right edge"),
        (
            lambda text: text.replace("</main>", 2 * EMPTY_PAGE + "</main>"),
            "blank pages",
        ),
        (lambda text: text.replace("break-after: page; }", "}"), "the evidence does not begin"),
        (lambda text: re.sub("(</section>).*(?=</main>)", r"\1", text, flags=re.DOTALL), "no evidence"),
    ],
)
def test_what_prints_badly_is_noticed(spoil: Callable[[str], str], fault: str, page: Any) -> None:
    """Negative control."""
    found = faults(page, spoil(paper("verify")), "verify")
    assert any(one.startswith(fault) for one in found), found


def test_long_names_of_periods_do_not_burst_a_handover(page: Any) -> None:
    names = ["after_hours_cleaning_and_repairs_of_racks", "early_morning_shift", "late_evening_picks"]
    site = make_scenario(
        lighting={"settings": {name: {"unoccupied_level": 0.3, "timeout_s": 270.0} for name in names}},
        timetable=[
            {"from": f"{8 * place:02d}:00", "to": f"{8 * place + 8:02d}:00", "settings": name}
            for place, name in enumerate(names)
        ],
    )
    assert faults(page, render_handover(pack_of(site), ("Careful.",)), "handover") == []


def test_the_reader_counts_the_pages_that_others_count(page: Any, tmp_path: Path) -> None:
    page.set_content("".join(f"<p style='break-after: page'>{number}</p>" for number in range(7)) + "end")
    pdf = printed(page)
    assert len(streams(pdf)) == 8
    if shutil.which("pdfinfo"):
        path = tmp_path / "eight.pdf"
        path.write_bytes(pdf)
        told = subprocess.run(["pdfinfo", str(path)], capture_output=True, text=True, check=True).stdout
        assert re.search(r"Pages:\s+8\b", told)


@pytest.mark.slow
@pytest.mark.skipif("AXE_JS" not in os.environ, reason="AXE_JS does not name axe.min.js")
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_rules_of_accessibility_find_nothing(browser: Any, scheme: str) -> None:
    rules = Path(os.environ["AXE_JS"]).read_text(encoding="utf-8")
    context = browser.new_context(offline=True, color_scheme=scheme)
    for kind in KINDS:
        page = context.new_page()
        page.set_content(paper(kind))
        page.evaluate(rules)
        found = page.evaluate("() => axe.run()")["violations"]
        assert [(one["id"], one["nodes"][0]["html"]) for one in found] == [], kind
        # negative control: a picture without words instead of it, and a grey that nobody can read
        page.evaluate("""() => document.querySelector('main').insertAdjacentHTML('beforeend',
            '<img src="data:,"><p style="color: #ccc; background: #ddd">grey</p>')""")
        spoilt = {one["id"] for one in page.evaluate("() => axe.run()")["violations"]}
        assert {"image-alt", "color-contrast"} <= spoilt
        page.close()
    context.close()


def demo(name: str, **changes: object) -> Scenario:
    return load(find_scenario(name)).model_copy(update=changes)


def demo_run(name: str, folder: Path) -> str:
    result = run(demo(name, replications=2))
    return render_report(result, draw_figures(result, folder))


def demo_handover(name: str) -> str:
    site = demo(name)
    return render_handover(pack_of(site), cautions(site, lay_out(site)))


def demo_recommendation(name: str) -> str:
    asked = {
        "max": {"shortfall_truck_s_per_visit": 1.0}, "timeouts_s": [60.0, 300.0, 600.0], "levels": [0.2, 0.5],
        "unoccupied_floor_share": 0.2, "egress_aisles": [], "walked_aisles": [],
    }
    return render_recommendation(recommend(make_wish(with_wishes(demo(name), asked)), replications=2), {})


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "name"),
    [
        *(
            (kind, name)
            for kind in ("run", "worksheet", "handover")
            for name in ("pallet-reserve", "narrow-aisles", "cross-dock")
        ),
        ("recommend", "pallet-reserve"),
        ("recommend", "cross-dock"),
    ],
)
def test_reports_of_packaged_sites_print_well(kind: str, name: str, page: Any, tmp_path: Path) -> None:
    text = {
        "run": lambda: demo_run(name, tmp_path),
        "recommend": lambda: demo_recommendation(name),
        "worksheet": lambda: render_worksheet(make_worksheet(run(demo(name, replications=2)))),
        "handover": lambda: demo_handover(name),
    }[kind]()
    assert faults(page, text, kind) == []
