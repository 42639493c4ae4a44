"""From the books of every zone to the outcomes of the site, and the baselines that need all of a place.

Comes in: layout, programs, detections, visits.  Goes out: `Outcomes` and a `CloseLook`.
Before: `lighting`, `outcome/account`; after: `run`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from sim.floor.layout import Layout
from sim.lighting.power import PowerCurve, power_curve
from sim.lighting.replay import Commands, command_zone, run_fades
from sim.lighting.timetable import Program
from sim.outcome.account import Spells, ZoneBooks, keep_books, sum_by
from sim.outcome.clock import Bins
from sim.outcome.limits import CODE_CUT, CODE_DELAY
from sim.outcome.names import OUTCOMES
from sim.records import Detections, FloatColumn, Stays, Visits
from sim.results import CloseLook, Levels, Outcomes
from sim.sensing.coverage import unite
from sim.units import JOULES_PER_KWH, QUARTER_S, SECONDS_PER_HOUR

__all__ = ["code_minimum", "keep_site_books", "light_up"]


def code_minimum(
    start: FloatColumn, end: FloatColumn, curve: PowerCurve, dimmed: int, fixed: int, bins: Bins
) -> FloatColumn:
    """Return the energy of the code minimum by hour [kWh] (H,).

    Full level until 20 minutes after the aisle's last motion, then half the power; half before the
    first; no latency, no fade; luminaires that never dim stay at full power.

    Parameters
    ----------
    start, end : united detections of the whole aisle, or of all aisles of a group [s] (n,)
    curve, dimmed, fixed : of the zone
    """
    lit_from, lit_to = start, np.minimum(np.append(start[1:], bins.end_s), end + CODE_DELAY.value)
    length = np.concatenate([[0.0], np.cumsum(np.maximum(lit_to - lit_from, 0.0))])
    knots = np.stack([lit_from, lit_to], axis=1).ravel()
    heights = np.stack([length[:-1], length[1:]], axis=1).ravel()
    lit = np.diff(np.interp(bins.hour_edges, knots, heights)) if len(start) else np.zeros(bins.hours)
    whole = np.diff(bins.hour_edges)
    dimmed_j = dimmed * curve.full_w * (lit + (1.0 - CODE_CUT.value) * (whole - lit))
    return (dimmed_j + fixed * curve.full_w * whole) / JOULES_PER_KWH


def _merge_spells(books: Sequence[ZoneBooks]) -> Spells:
    """Join the spells of a visit that touch where it crosses from zone to zone."""
    parts = [zone.spells for zone in books if zone.spells is not None]
    visit = np.concatenate([part.visit for part in parts])
    start = np.concatenate([part.start for part in parts])
    end = np.concatenate([part.end for part in parts])
    order = np.lexsort((start, visit))
    visit, start, end = visit[order], start[order], end[order]
    begins = np.append(True, (visit[1:] != visit[:-1]) | (start[1:] > end[:-1]))[: len(visit)]
    at = np.flatnonzero(begins)
    return Spells(visit[at], start[at], end[np.append(at[1:], len(visit)) - 1] if len(at) else end)


def _spell_figures(spells: Spells) -> tuple[float, float]:
    """Longest spell and 95th percentile, 0 where there is none [s]."""
    length = spells.end - spells.start
    return (float(length.max()), float(np.percentile(length, 95.0))) if len(length) else (0.0, 0.0)


def light_up(
    layout: Layout,
    programs: Sequence[Program],
    detections: Detections,
    visits: Visits | None,
    stays: Stays | None,
    bins: Bins,
) -> tuple[Outcomes, CloseLook]:
    """Run the lights on given detections and account for everything.

    Parameters
    ----------
    layout, programs : the site; a program per place (P,)
    detections : united motion
    visits, stays : None where no visits are known
    bins : hours and quarter-hours of the run
    """
    lights: list[tuple[Commands, Levels]] = []
    for zone, place in enumerate(layout.zone_place):
        commands = command_zone(*detections.of_zone(zone), programs[place])
        lights.append((commands, run_fades(commands, programs[place])))
    return keep_site_books(layout, lights, detections, visits, stays, bins)


def keep_site_books(
    layout: Layout,
    lights: Sequence[tuple[Commands, Levels]],
    detections: Detections,
    visits: Visits | None,
    stays: Stays | None,
    bins: Bins,
) -> tuple[Outcomes, CloseLook]:
    """Account for everything, given what the lights did.

    Parameters
    ----------
    layout : the site
    lights : commands and light of every zone, from either engine (Z,)
    detections, visits, stays, bins : as in `light_up`
    """
    curves = [power_curve(luminaires) for luminaires in layout.place_luminaires]
    books: list[ZoneBooks] = []
    light: list[Levels] = []
    for zone, place in enumerate(layout.zone_place):
        commands, levels = lights[zone]
        inside = None if stays is None else stays.of_zone(zone)
        books.append(
            keep_books(
                commands,
                levels,
                inside,
                curves[place],
                int(layout.dimmed[zone]),
                int(layout.fixed[zone]),
                bins,
            )
        )
        light.append(levels)
    zone_hours = _zone_hours(layout, detections, curves, books, visits, stays, bins)
    outcomes = _sum_up(layout, zone_hours, books, visits, stays, bins)
    dim_visit_s, false_off_visits = None, None
    if visits is not None and stays is not None:
        in_aisles = books[: layout.zones_in_aisles]
        spells = _merge_spells(in_aisles)
        dim_visit_s = sum_by(spells.visit, spells.end - spells.start, len(visits))
        false_off_visits = np.zeros(len(visits), dtype=bool)
        for zone, book in enumerate(in_aisles):
            inside = stays.of_zone(zone)
            first = np.searchsorted(book.false_off_times, inside.enter, side="left")
            last = np.searchsorted(book.false_off_times, inside.leave, side="left")
            false_off_visits[inside.visit[last > first]] = True
    return outcomes, CloseLook(visits, stays, detections, tuple(light), dim_visit_s, false_off_visits)


def _zone_hours(
    layout: Layout,
    detections: Detections,
    curves: Sequence[PowerCurve],
    books: Sequence[ZoneBooks],
    visits: Visits | None,
    stays: Stays | None,
    bins: Bins,
) -> dict[str, FloatColumn]:
    """Stack the additive outcomes of every zone by hour (Z, H)."""
    table = {name: np.array([book.hours[name] for book in books]) for name in books[0].hours}
    by_place = unite(layout.zone_place[detections.zone], detections.start, detections.end)
    table["code_minimum_kwh"] = np.array(
        [
            code_minimum(
                *by_place.of_zone(int(place)),
                curves[place],
                int(layout.dimmed[zone]),
                int(layout.fixed[zone]),
                bins,
            )
            for zone, place in enumerate(layout.zone_place)
        ]
    )
    table["saved_kwh"] = table["always_on_kwh"] - table["energy_kwh"]
    if visits is not None and stays is not None:
        shape = (len(layout.zones), bins.hours)
        # a visit and its wait belong to the zone it enters first, in the hour it entered: so zones add up
        hour = bins.hour_of(visits.enter)
        counts, waits = np.zeros(shape), np.zeros(shape)
        order = np.lexsort((stays.enter, stays.visit))
        order = order[stays.zone[order] < layout.zones_in_aisles]  # in open areas nobody visits an aisle
        first = order[np.append(True, np.diff(stays.visit[order]) != 0)[: len(order)]]
        visit = stays.visit[first]
        np.add.at(counts, (stays.zone[first], hour[visit]), 1.0)
        np.add.at(waits, (stays.zone[first], hour[visit]), visits.enter[visit] - visits.arrive[visit])
        table["visits"], table["mouth_wait_s"] = counts, waits
    return table


def _sum_up(
    layout: Layout,
    zone_hours: dict[str, FloatColumn],
    books: Sequence[ZoneBooks],
    visits: Visits | None,
    stays: Stays | None,
    bins: Bins,
) -> Outcomes:
    """Add zones and hours up, and add what does not add up: shares, peaks, spells, means."""
    run_h = bins.end_s / SECONDS_PER_HOUR
    hour_h = np.diff(bins.hour_edges) / SECONDS_PER_HOUR
    zones = {name: np.array([math.fsum(row) for row in table]) for name, table in zone_hours.items()}
    hours = {name: np.array([math.fsum(row) for row in table.T]) for name, table in zone_hours.items()}
    total = {name: math.fsum(column) for name, column in zones.items()}

    quarter_kw = np.array([math.fsum(row) for row in zip(*(book.quarter_j for book in books), strict=True)])
    quarter_kw = quarter_kw / QUARTER_S / 1000.0
    always_kw = np.sum([book.always_on_quarter_j for book in books], axis=0) / QUARTER_S / 1000.0
    for name, quarters, own in (
        ("peak_kw", quarter_kw, [book.quarter_j for book in books]),
        ("always_on_peak_kw", always_kw, [book.always_on_quarter_j for book in books]),
    ):
        total[name] = float(quarters.max())
        zones[name] = np.array([values.max() for values in own]) / QUARTER_S / 1000.0
        hours[name] = np.zeros(bins.hours)
        np.maximum.at(hours[name], bins.quarter_hour, quarters)
    for table in (zones, hours):
        table["saved_share"] = table["saved_kwh"] / table["always_on_kwh"]
    total["saved_share"] = total["saved_kwh"] / total["always_on_kwh"]

    if visits is not None and stays is not None:
        hour = bins.hour_of(visits.enter)
        hours["visits"] = np.bincount(hour, minlength=bins.hours).astype(np.float64)
        total["visits"] = float(len(visits))
        spells = _merge_spells(books)
        longest, usual = _spell_figures(spells)
        total["dim_spell_max_s"], total["dim_spell_p95_s"] = longest, usual
        own_figures = [_spell_figures(book.spells) for book in books if book.spells is not None]
        by_hour = _spells_by_hour(spells, bins)
        for place, name in enumerate(("dim_spell_max_s", "dim_spell_p95_s")):
            zones[name] = np.array([figures[place] for figures in own_figures])
            hours[name] = np.array([figures[place] for figures in by_hour])
        total["visits_per_h"] = total["visits"] / run_h
        zones["visits_per_h"], hours["visits_per_h"] = zones["visits"] / run_h, hours["visits"] / hour_h
        total["mouth_wait_mean_s"] = total["mouth_wait_s"] / total["visits"] if total["visits"] else 0.0
        for table in (zones, hours):
            table["mouth_wait_mean_s"] = np.divide(
                table["mouth_wait_s"],
                table["visits"],
                out=np.zeros_like(table["visits"]),
                where=table["visits"] > 0,
            )
    unknown_zones, unknown_hours = np.full(len(layout.zones), np.nan), np.full(bins.hours, np.nan)
    return Outcomes(
        total={name: float(total.get(name, np.nan)) for name in OUTCOMES},
        zones={name: zones.get(name, unknown_zones) for name in OUTCOMES},
        hours={name: hours.get(name, unknown_hours) for name in OUTCOMES},
        quarter_kw=quarter_kw,
    )


def _spells_by_hour(spells: Spells, bins: Bins) -> list[tuple[float, float]]:
    """Longest spell and 95th percentile of the spells that begin in each hour."""
    order = np.argsort(spells.start, kind="stable")
    edges = np.searchsorted(spells.start[order], bins.hour_edges[1:-1], side="left")
    return [
        _spell_figures(Spells(spells.visit[rows], spells.start[rows], spells.end[rows]))
        for rows in np.split(order, edges)
    ]
