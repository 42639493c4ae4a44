"""What gives way where a page would be large, or a year is more than the run's weeks: sliders, hourly prices.

Comes in: a small site.  The page's own data is read back out of it.
"""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

import sim.show.page.write
from sim.show.page.data import Source
from sim.show.page.write import render_page
from tests.study.decide_site import small_site

TARIFF = '\n[tariff]\ncurrency = "EUR"\nper_kwh = 0.2\n'


def page(**changes: str) -> str:
    """The page of a site with little work."""
    site = small_site(work="per_hour = 14 -> per_hour = 2", **changes)
    return render_page([Source("as planned", site)], [0])


def data_of(text: str) -> dict[str, Any]:
    """What the page's scripts read."""
    found = re.search(r'<script type="application/json"[^>]*>(.*?)</script>', text, re.DOTALL)
    assert found is not None
    data: dict[str, Any] = json.loads(found[1])
    return data


def least(text: str) -> set[float]:
    """Where the sliders of the timeouts begin."""
    return {one["least_timeout_s"] for one in data_of(text)["settings"]}


def test_sliders_begin_later_where_the_page_would_be_too_large(monkeypatch: pytest.MonkeyPatch) -> None:
    """30 s where there is room, 60 s as the last resort; between them 45 s if that is enough."""
    # the charts are the same whatever the sliders do, and take most of the time
    monkeypatch.setattr(sim.show.page.write, "chart_items", lambda places, **kinds: {})
    room = len(page().encode())
    found = []
    for most in (room, room - 1, 1):
        monkeypatch.setattr(sim.show.page.write, "MOST_BYTES", most)
        text = page()
        found.append((least(text), len(text.encode())))
    assert [start for start, _ in found] == [{30.0}, {45.0}, {60.0}]
    sizes = [size for _, size in found]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[0] == room


@pytest.mark.parametrize("hourly", [True, False])
def test_a_year_that_is_its_weeks_is_priced_hour_by_hour(hourly: bool) -> None:
    """A week can stand for a year; where its light is also pumped out of a cold store one price holds."""
    cold = "" if hourly else "\n[store]\ncooling_cop = 2.0\n"
    text = page(days="days = 1 -> days = 7", extra=TARIFF + cold).replace("&#39;", "'")
    assert (data_of(text)["year"] is not None) == hourly
    assert ("Energy is priced hour by hour over 2027 as the scenario's tariff says." in text) == hourly
    assert ("One price for all hours here" in text) == (not hourly)
