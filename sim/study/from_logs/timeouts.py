"""One log, some timeouts: what each would do in each aisle.

Comes in: a prepared site and its traffic.  Goes out: an `ExtraTable`.  Before: `replication`, `study/ages`;
after: `study/replications/replicate`.  Every set of settings takes the timeout in turn, all else stays, on
the same motion, as exactly as a replay would.  A gap runs from the end of one detection of a zone to the
start of its next.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from sim.floor.layout import Layout
from sim.records import Detections, FloatColumn
from sim.replication import Site, Traffic
from sim.results import ExtraTable
from sim.scenario.schema import Scenario
from sim.study.ages.evaluate import evaluate_settings

__all__ = ["TIMEOUTS_S", "gaps_of_place", "timeout_table"]

TIMEOUTS_S = (30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1200.0, 1800.0)
_EVERY = "all aisles"
_HEADER = (
    "aisle", "timeout_s", "gaps", "gap_p10_s", "gap_p50_s", "gap_p90_s", "gaps_longer_share", "energy_kwh",
    "saved_share", "time_at_low_share", "switch_ups", "dim_entries", "false_offs",
)
_MOST_SHOWN = 40


def gaps_of_place(layout: Layout, detections: Detections, place: int) -> FloatColumn:
    """Return the gaps in the zones of an aisle, a group of aisles or an area, between detections [s] (n,)."""
    gaps = []
    for zone in layout.zones_of_place(place):
        start, end = detections.of_zone(zone)
        gaps.append(start[1:] - end[:-1])
    return np.concatenate(gaps)


def _can_follow(scenario: Scenario, timeout_s: float) -> bool:
    """Say whether lights everywhere could follow one timeout in every set of settings."""
    for aisle in scenario.lit_names:
        sensors = scenario.sensors_of(aisle)
        slowest = max(settings.fade_up_s for settings in scenario.settings_of(aisle).values())
        if sensors.hold_s + timeout_s <= sensors.latency_s + slowest:
            return False
    return True


def timeout_table(site: Site, traffic: Traffic, timeouts_s: Sequence[float] = TIMEOUTS_S) -> ExtraTable:
    """Say what the lights would do with some timeouts.

    Parameters
    ----------
    site, traffic : the site and what happened there
    timeouts_s : to try; those too short for the latency and the fade are left out

    Returns
    -------
    a row for each aisle and timeout, all aisles together first
    """
    layout, settings = site.layout, site.scenario.lighting.settings
    gaps = [gaps_of_place(layout, traffic.detections, place) for place in range(len(layout.places))]
    tried = [timeout_s for timeout_s in timeouts_s if _can_follow(site.scenario, timeout_s)]
    choices = [
        {name: one.model_copy(update={"timeout_s": timeout_s}) for name, one in settings.items()}
        for timeout_s in tried
    ]
    zones = evaluate_settings(site, traffic, choices, by_zone=True)
    hours = site.scenario.duration_s / 3600.0
    rows: list[tuple[str, ...]] = []
    shown_rows: list[tuple[str, ...]] = []
    for name, members, own in _groups(layout, gaps):
        spread = _percentiles(own)
        shown = [name, str(len(own)), _minutes(spread[1])]
        for choice, timeout_s in enumerate(tried):
            total = {key: float(np.sum(zones[key][members, choice])) for key in (*_SUMS, *_TRUCKS)}
            longer = float((own > timeout_s).mean()) if len(own) else np.nan
            saved = 1.0 - total["energy_kwh"] / total["always_on_kwh"]
            low = total["time_at_low_h"] / (hours * len(members))
            rows.append(
                (
                    name,
                    f"{timeout_s:g}",
                    str(len(own)),
                    *(_number(value) for value in spread),
                    _number(longer, 4),
                    _number(total["energy_kwh"], 3),
                    _number(saved, 4),
                    _number(low, 4),
                    *(_number(total[key], 0) for key in ("switch_ups", *_TRUCKS)),
                )
            )
            shown.append(f"{_percent(longer)} / {_percent(saved)}")
        shown_rows.append(tuple(shown))
    left_out = len(shown_rows) - _MOST_SHOWN
    return ExtraTable(
        name="timeouts",
        title="Timeouts, aisle by aisle",
        header=_HEADER,
        rows=tuple(rows),
        shown_header=("Aisle", "Gaps", "Median gap", *(_minutes(timeout_s) for timeout_s in tried)),
        shown_rows=tuple(shown_rows[:_MOST_SHOWN]),
        remarks=(
            "Under each timeout: share of the gaps that are longer / energy saved against always on, both in "
            "per cent, with this timeout in every set of settings and all else as the scenario has it.",
            *([f"{left_out} more aisles stand in timeouts.csv."] if left_out > 0 else []),
        ),
    )


_SUMS = ("energy_kwh", "always_on_kwh", "time_at_low_h", "switch_ups")
_TRUCKS = ("dim_entries", "false_offs")


def _groups(
    layout: Layout, gaps: Sequence[FloatColumn]
) -> Iterator[tuple[str, list[int], FloatColumn]]:
    """Yield name, zones and gaps: of all aisles, then of each."""
    yield _EVERY, list(range(len(layout.zones))), np.concatenate(list(gaps))
    for place, name in enumerate(layout.places):
        yield name, list(layout.zones_of_place(place)), gaps[place]


def _percentiles(gaps: FloatColumn) -> list[float]:
    """10, 50 and 90 % of the gaps are shorter, nan without any [s]."""
    return np.percentile(gaps, (10, 50, 90)).tolist() if len(gaps) else [np.nan] * 3


def _number(value: float, digits: int = 1) -> str:
    """A figure of the file; nothing where it is not known."""
    return "" if np.isnan(value) else f"{value:.{digits}f}"


def _percent(share: float) -> str:
    """A share in per cent."""
    return "–" if np.isnan(share) else f"{100.0 * share:.0f}"


def _minutes(seconds: float) -> str:
    """A time in words."""
    if np.isnan(seconds):
        return "–"
    return f"{seconds:.0f} s" if seconds < 60.0 else f"{seconds / 60.0:.3g} min"
