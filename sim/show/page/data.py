"""What the page holds: a site, its settings and its traffic, as plain values for JSON.

Comes in: a scenario with replications to simulate, or a replayed log; variants.  Goes out: one dict.
Before: `replication`, `study`; after: `show/page/write`.  The page's own code (files/*.mjs) computes every
figure from it; the figures that Python finds for the settings as they stand go along, so that the page can
check itself when it opens.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.errors import InputError
from sim.lighting.power import power_curve
from sim.lighting.timetable import Program, place_programs
from sim.outcome.year_load import connected_kw
from sim.replication import Site, Traffic, drivers_react, prepare_site, replay_site, simulate_traffic
from sim.results import Outcomes
from sim.scenario.schema import Scenario, Settings
from sim.show.page.daylight import cap_changes, daylight_words, roofed_places
from sim.show.page.playback import pack_playback
from sim.show.page.shifts import Shift, work_shifts
from sim.show.page.traffic import Watch, pack_traffic
from sim.show.page.year import year_weights
from sim.show.words.amounts import listing, plain
from sim.show.words.in_force import settings_in_force
from sim.study.relight import with_settings
from sim.units import SECONDS_PER_HOUR

__all__ = ["CHECKED", "Gathered", "Source", "gather", "pack_page"]

CHECKED = (
    "energy_kwh", "peak_kw", "time_at_low_h", "time_at_zero_h", "lit_empty_h", "dim_truck_s",
    "shortfall_truck_s", "dim_entries", "false_offs", "switch_ups", "switch_downs", "timetable_changes",
)
"""Outcomes that the page computes by itself."""
MOST_BARS = 40
SHORT_STEP_S = 1.0


@dataclass(frozen=True)
class Source:
    """One site for the page.

    Attributes
    ----------
    name : of the variant
    scenario : resolved
    traffic : measured; None: to be simulated
    """

    name: str
    scenario: Scenario
    traffic: Traffic | None = None


@dataclass(frozen=True)
class Gathered:
    """A site with the traffic of its replications and what Python finds on it (R,)."""

    source: Source
    site: Site
    traffics: tuple[Traffic, ...]
    outcomes: tuple[Outcomes, ...]

    @property
    def knows_visits(self) -> bool:
        """Whether trucks are known, and not motion alone."""
        return self.traffics[0].visits is not None and self.traffics[0].stays is not None


def gather(
    sources: Sequence[Source], replications: Sequence[int], tell: Callable[[int, int | None], None]
) -> list[Gathered]:
    """Simulate what is not measured, and let Python account for it.

    Parameters
    ----------
    sources : the site as it stands, then its variants
    replications : their numbers
    tell : called with replications done and expected

    Raises
    ------
    InputError : drivers react to the light, or a variant has other settings or days
    """
    for source in sources:
        _refuse(source, sources[0].scenario)
    done = itertools.count(1)
    found = []
    for source in sources:
        site = prepare_site(source.scenario)
        traffics, outcomes = [], []
        for number in replications:
            is_played = number == replications[0]
            traffic = source.traffic or simulate_traffic(site, number, keep_open_runs=is_played)
            traffics.append(traffic)
            outcomes.append(replay_site(site, traffic)[0])
            tell(next(done), len(sources) * len(replications))
        found.append(Gathered(source, site, tuple(traffics), tuple(outcomes)))
    return found


def _refuse(source: Source, first: Scenario) -> None:
    """Say why a site cannot be on the page."""
    scenario = source.scenario
    if source.traffic is None and drivers_react(scenario):
        raise InputError(
            f"{source.name}: its drivers react to the light (dim_speed_factor, wait_for_light), so that "
            "every position of a slider has a traffic of its own; the page moves settings over one traffic. "
            "Leave these keys out for a page, or try settings one at a time with aislewake run"
        )
    if set(scenario.lighting.settings) != set(first.lighting.settings):
        raise InputError(
            f"variant {source.name}: its settings are called {', '.join(scenario.lighting.settings)}, those "
            f"of the site {', '.join(first.lighting.settings)}; one set of sliders must serve both"
        )
    if (scenario.days, scenario.start_datetime) != (first.days, first.start_datetime):
        raise InputError(f"variant {source.name}: start and days must be those of the site")


def pack_page(
    gathered: Sequence[Gathered], replications: Sequence[int], least_timeout_s: float
) -> dict[str, Any]:
    """Return everything the page knows.

    Parameters
    ----------
    gathered : the site as it stands, then its variants, with settings of the same names
    replications : numbers of the replications
    least_timeout_s : where the sliders begin [s]; not above any timeout of the settings
    """
    from scipy.special import stdtrit

    first, count = gathered[0].source.scenario, len(replications)
    names = _names_in_force(gathered)
    # the sliders carry the fades of the first site into every variant
    longest = max(
        max(settings.fade_up_s, settings.fade_down_s)
        for one in gathered
        for settings in one.source.scenario.lighting.settings.values()
    )
    return {
        "format": 1,
        "title": first.title,
        "days": first.days,
        "run_h": first.duration_s / SECONDS_PER_HOUR,
        "start": first.start_datetime.isoformat(timespec="minutes"),
        "replications": list(replications),
        "t_quantile": float(stdtrit(count - 1, 0.975)) if count > 1 else None,
        "settings": [_control(name, gathered, least_timeout_s) for name in names],
        "currency": "" if first.tariff is None else first.tariff.currency,
        "year": year_weights(gathered[0].site),
        "variants": [_pack_site(one, names, least_timeout_s, longest) for one in gathered],
    }


def _names_in_force(gathered: Sequence[Gathered]) -> list[str]:
    """Names of the settings that hold somewhere at some time, in the scenario's order."""
    used = {
        name for one in gathered for _, names in _outlines(one.source.scenario) for name in names
    }
    return [name for name in gathered[0].source.scenario.lighting.settings if name in used]


def _outlines(scenario: Scenario) -> list[tuple[Program, list[str]]]:
    """Where the settings may change in each place, daylight apart, and the names that hold (P,)."""
    names = list(scenario.lighting.settings)
    indoors = scenario.model_copy(update={"skylight": None})
    # stand-ins that differ from name to name, so that every border between two names is kept
    stand_in = {
        name: Settings(unoccupied_level=0.0, timeout_s=0.0, fade_down_s=float(place))
        for place, name in enumerate(names)
    }
    return [
        (program, [names[int(place)] for place in program.fade_down_s])
        for program in place_programs(with_settings(indoors, stand_in))
    ]


def _values(name: str, settings: Settings) -> dict[str, Any]:
    """One set of settings as the scenario states it."""
    return {"name": name, **settings.model_dump()}


def _control(name: str, gathered: Sequence[Gathered], least_timeout_s: float) -> dict[str, Any]:
    """One set of settings with what its sliders need: when it holds, hold times, the least timeout.

    The delay must exceed latency + fade-up, in every aisle of every variant.
    """
    scenario = gathered[0].source.scenario
    rows = [row for row in settings_in_force(scenario) if row.uses == name]
    parts = [
        f"{plain(row.hours_a_week)} h a week" + ("" if row.is_everywhere else f" in {listing(row.aisles, 3)}")
        for row in rows
    ]
    sensors = [sensors for one in gathered for sensors in one.site.layout.place_sensors]
    own = scenario.lighting.settings[name]
    room = max(
        one.latency_s + gathered[place].source.scenario.lighting.settings[name].fade_up_s - one.hold_s
        for place in range(len(gathered))
        for one in gathered[place].site.layout.place_sensors
    )
    least = max(least_timeout_s, np.floor(room) + SHORT_STEP_S)
    return {
        **_values(name, own),
        "note": "; ".join(parts),
        "holds_s": sorted({one.hold_s for one in sensors}),
        "least_timeout_s": min(float(least), own.timeout_s),
    }


def _pack_site(
    one: Gathered, names: list[str], least_timeout_s: float, longest_s: float
) -> dict[str, Any]:
    """One variant."""
    layout, scenario, site = one.site.layout, one.source.scenario, one.site
    outlines, daylight, roofed = _outlines(scenario), cap_changes(scenario), roofed_places(scenario)
    place: dict[tuple[int, bool], int] = {}
    programs: list[dict[str, Any]] = []
    for home, (program, used) in enumerate(outlines):
        if (id(program), roofed[home]) not in place:
            place[id(program), roofed[home]] = len(programs)
            programs.append(
                {
                    "border": program.border.tolist(),
                    "settings": [names.index(name) for name in used],
                    "hold_s": layout.place_sensors[home].hold_s,
                    "latency_s": program.latency_s,
                    "is_capped": roofed[home],
                }
            )
    zone_place = layout.zone_place.tolist()
    changes = np.zeros(0) if daylight is None else daylight[0]
    watches = [
        Watch(
            layout.place_sensors[home].hold_s + least_timeout_s,
            layout.place_sensors[home].latency_s,
            longest_s,
            np.append(outlines[home][0].border[:-1], changes if roofed[home] else []),
            scenario.duration_s,
        )
        for home in zone_place
    ]
    weights = _weights(one)
    shifts = work_shifts(scenario)
    always_on = np.bincount(layout.zone_place, one.outcomes[0].zones["always_on_kwh"], len(layout.places))
    return {
        "name": one.source.name,
        "aisles": list(layout.places),
        "open_areas": len(layout.areas),
        "shown_aisles": _shown_aisles(one),
        "aisle_always_on_kwh": always_on.tolist(),
        "zones": list(layout.zones),
        "zone_aisle": zone_place,
        "zone_program": [place[id(outlines[home][0]), roofed[home]] for home in zone_place],
        "dimmed": layout.dimmed.tolist(),
        "fixed": layout.fixed.tolist(),
        "curves": [
            [curve.level.tolist(), curve.watts.tolist()]
            for curve in map(power_curve, layout.place_luminaires)
        ],
        "connected_kw": connected_kw(layout),
        "programs": programs,
        "daylight": None if daylight is None else [column.tolist() for column in daylight],
        "daylight_words": daylight_words(roofed),
        "quarter_edges": site.bins.quarter_edges.tolist(),
        "weights": weights,
        "shifts": [
            {"label": shift.label, "spans": [list(span) for span in shift.spans]} for shift in shifts
        ],
        "settings": [_values(name, scenario.lighting.settings[name]) for name in names],
        "playback": pack_playback(site, one.traffics[0]),
        "runs": [
            _pack_run(one, number, pack_traffic(traffic, watches, weights), shifts)
            for number, traffic in enumerate(one.traffics)
        ],
    }


def _weights(one: Gathered) -> list[float]:
    """Service weights of the trucks that come, ascending; 1 where nobody says."""
    found = {1.0}
    for traffic in one.traffics:
        if traffic.stays is not None and traffic.stays.weight is not None:
            found.update(traffic.stays.weight.tolist())
    return sorted(found)


def _shown_aisles(one: Gathered) -> list[int]:
    """Aisles to draw bars for: of a large floor those with most trucks, else with most energy, by place."""
    layout = one.site.layout
    key = "occupied_h" if one.knows_visits else "energy_kwh"
    by_zone = np.mean([outcome.zones[key] for outcome in one.outcomes], axis=0)
    by_aisle = np.bincount(layout.zone_place, by_zone, len(layout.places))
    return sorted(np.argsort(-by_aisle, kind="stable")[:MOST_BARS].tolist())


def _pack_run(one: Gathered, number: int, packed: dict[str, Any], shifts: Sequence[Shift]) -> dict[str, Any]:
    """One replication: its traffic, what no setting changes, and Python's own figures."""
    outcomes, stays, known = one.outcomes[number], one.traffics[number].stays, one.knows_visits
    return {
        **packed,
        "always_on_kwh": outcomes.total["always_on_kwh"],
        "code_minimum_kwh": outcomes.total["code_minimum_kwh"],
        "zone_occupied_h": outcomes.zones["occupied_h"].tolist() if known else None,
        "shift_entries": [shift.entries(stays) for shift in shifts] if known and stays is not None else None,
        "found": {name: outcomes.total[name] for name in CHECKED if not np.isnan(outcomes.total[name])},
    }
