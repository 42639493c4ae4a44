"""Additive outcomes of every zone by hour of the day: what a cap per hour is held against.

Comes in: a prepared site and its traffic.  Goes out: arrays of 24 hours.  Before: `lighting`, `outcome`;
after: `study/decide/trial`, `study/decide/hour_caps`.  The same books as a run's, only added up by wall-clock
hour: hour 6 is 06:00 to 07:00 of every day of the run.  Runs that start within an hour count by the hour they
are in.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sim.lighting.power import power_curve
from sim.lighting.replay import command_zone, run_fades
from sim.outcome.account import keep_books
from sim.records import FloatColumn, IntColumn, Visits
from sim.replication import Site, Traffic
from sim.scenario.schema import Scenario
from sim.units import SECONDS_PER_HOUR

__all__ = ["HOURS", "by_clock_hour", "hour_counts", "outcomes_by_hour", "visits_by_hour", "visits_by_zone"]

HOURS = 24


def _clock_hours(scenario: Scenario, count: int) -> IntColumn:
    """Hour of the day in which each hour of the run begins (count,)."""
    start = scenario.start_datetime
    return (start.hour + np.arange(count)) % HOURS


def by_clock_hour(scenario: Scenario, hourly: FloatColumn) -> FloatColumn:
    """Add figures by hour of the run (H,) up by hour of the day (24,)."""
    clock = _clock_hours(scenario, len(hourly))
    return np.bincount(clock, weights=hourly, minlength=HOURS).astype(np.float64)


def hour_counts(scenario: Scenario) -> FloatColumn:
    """Return how many of each hour of the day the run holds, the last one perhaps in part (24,)."""
    whole = scenario.duration_s / SECONDS_PER_HOUR
    lengths = np.ones(int(np.ceil(whole)))
    lengths[-1] = whole - (len(lengths) - 1)
    counts = np.bincount(_clock_hours(scenario, len(lengths)), weights=lengths, minlength=HOURS)
    return counts.astype(np.float64)


def visits_by_zone(site: Site, visits: Visits) -> FloatColumn:
    """Return the visits to the aisles of each zone: what a cap per visit in a zone divides by (Z,)."""
    layout = site.layout
    by_place = np.bincount(layout.aisle_place[visits.aisle], minlength=len(layout.places))
    return by_place[layout.zone_place].astype(np.float64)


def visits_by_hour(site: Site, visits: Visits) -> FloatColumn:
    """Return visits by the hour of the day of their entry (24,)."""
    hour = _clock_hours(site.scenario, site.bins.hours)[site.bins.hour_of(visits.enter)]
    return np.bincount(hour, minlength=HOURS).astype(np.float64)


def outcomes_by_hour(site: Site, traffic: Traffic, outcomes: Sequence[str]) -> dict[str, NDArray[np.float64]]:
    """Return outcomes of every zone by hour of the day.

    Parameters
    ----------
    site : with the programs to run
    traffic : of one replication, visits known
    outcomes : names of additive outcomes that depend on the lights

    Returns
    -------
    by name, (Z, 24)
    """
    layout = site.layout
    curves = [power_curve(luminaires) for luminaires in layout.place_luminaires]
    clock = _clock_hours(site.scenario, site.bins.hours)
    found = {name: np.zeros((len(layout.zones), HOURS)) for name in outcomes}
    for zone, place in enumerate(layout.zone_place):
        program = site.programs[place]
        commands = command_zone(*traffic.detections.of_zone(zone), program)
        stays = None if traffic.stays is None else traffic.stays.of_zone(zone)
        books = keep_books(
            commands,
            run_fades(commands, program),
            stays,
            curves[place],
            int(layout.dimmed[zone]),
            int(layout.fixed[zone]),
            site.bins,
        ).hours
        for name in outcomes:
            hourly = books["always_on_kwh"] - books["energy_kwh"] if name == "saved_kwh" else books[name]
            found[name][zone] = np.bincount(clock, weights=hourly, minlength=HOURS)
    return found
