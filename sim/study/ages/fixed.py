"""The additive outcomes that no setting changes: one number a zone, whatever the choice.

Comes in: a site and its traffic.  Goes out: those outcomes by zone and for the site, as a replay gives them.
Before: `replication`; after: `study/ages/evaluate`.
"""

from __future__ import annotations

import math

import numpy as np

from sim.lighting.power import power_curve
from sim.outcome.totals import code_minimum
from sim.records import FloatColumn, Stays, Visits
from sim.replication import Site, Traffic
from sim.sensing.coverage import unite
from sim.units import JOULES_PER_KWH, SECONDS_PER_HOUR

__all__ = ["FIXED", "fixed_outcomes"]

FIXED = ("always_on_kwh", "code_minimum_kwh", "occupied_h", "visits", "mouth_wait_s")


def fixed_outcomes(
    site: Site, traffic: Traffic, occupied_s: FloatColumn
) -> tuple[dict[str, FloatColumn], dict[str, float]]:
    """Return the outcomes of `FIXED` by zone (Z,), and the site's.

    Parameters
    ----------
    site, traffic : the site and what happened there
    occupied_s : time with a truck, by zone [s] (Z,)

    Returns
    -------
    truck outcomes are nan where no visits are known
    """
    layout, bins, seen = site.layout, site.bins, traffic.detections
    curves = [power_curve(luminaires) for luminaires in layout.place_luminaires]
    full_w = np.array([curves[place].full_w for place in layout.zone_place.tolist()])
    by_place = unite(layout.zone_place[seen.zone], seen.start, seen.end)
    least = [
        math.fsum(
            code_minimum(
                *by_place.of_zone(place),
                curves[place],
                int(layout.dimmed[zone]),
                int(layout.fixed[zone]),
                bins,
            )
        )
        for zone, place in enumerate(layout.zone_place.tolist())
    ]
    count = len(layout.zones)
    visited, waited, visits = np.full(count, np.nan), np.full(count, np.nan), math.nan
    if traffic.visits is not None and traffic.stays is not None:
        in_aisles = traffic.stays.before(layout.zones_in_aisles)
        visited, waited = _visits_and_waits(traffic.visits, in_aisles, count)
        visits = float(len(traffic.visits))
    zones = {
        "always_on_kwh": (layout.dimmed + layout.fixed) * full_w * bins.end_s / JOULES_PER_KWH,
        "code_minimum_kwh": np.array(least),
        "occupied_h": np.where(np.isnan(visited), np.nan, occupied_s / SECONDS_PER_HOUR),
        "visits": visited,
        "mouth_wait_s": waited,
    }
    # on cut aisles a visit counts in every zone that it crosses, on the site once
    return zones, {name: math.fsum(column) for name, column in zones.items()} | {"visits": visits}


def _visits_and_waits(visits: Visits, stays: Stays, zones: int) -> tuple[FloatColumn, FloatColumn]:
    """Visits that began in each zone, and their waits at the mouth (Z,)."""
    order = np.lexsort((stays.enter, stays.visit))
    first = order[np.append(True, np.diff(stays.visit[order]) != 0)[: len(order)]]
    visit = stays.visit[first]
    wait = visits.enter[visit] - visits.arrive[visit]
    return (
        np.bincount(stays.zone[first], minlength=zones).astype(np.float64),
        np.bincount(stays.zone[first], weights=wait, minlength=zones).astype(np.float64),
    )
