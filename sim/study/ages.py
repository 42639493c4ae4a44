"""Any number of settings on one traffic, exactly: every additive outcome of every choice.

Comes in: a site, one replication's traffic, choices of settings.  Goes out: arrays by outcome.  Before:
`replication`, `study/ages_zone`; after: `study` (sweep, recommend).

The light in a gap depends on the time since the last motion alone (design: the age view).  So one zone's
gaps are cut into pieces, sorted once, and each choice is a few searches in running sums.  Zones are taken one
after the other: memory grows with one zone's traffic and with the choices, never with their product.

A zone is replayed instead, at the price of a replay, in those choices where the sums do not hold:
- a delay is not above latency + fade-up, or levels rise from occupied to unoccupied to second;
- a fade is longer than the period that follows a border, or something that begins at one border is not over
  at the next;
- latency and a fade together are not below the delay after a border: a fade-up under way there, or the
  fade-down to a lower occupied level.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError
from sim.lighting.power import power_curve
from sim.lighting.replay import command_zone, run_fades
from sim.lighting.timetable import compile_program, place_programs
from sim.outcome.account import keep_books
from sim.outcome.names import OUTCOMES
from sim.replication import Site, Traffic, replay_site
from sim.scenario.schema import Scenario, Settings
from sim.study.ages_fixed import FIXED, fixed_outcomes
from sim.study.ages_pieces import sort_pieces
from sim.study.ages_plan import Plan, lay_out_choices
from sim.study.ages_power import Lamps, fast_power
from sim.study.ages_records import Week, ZonePieces, lay_week
from sim.study.ages_zone import COUNTED, evaluate_zone
from sim.study.relight import relight, with_settings

__all__ = ["ADDITIVE", "evaluate_by_replay", "evaluate_settings", "lay_weeks", "sort_zone", "zone_lamps"]

_KNOWN = {*COUNTED, *FIXED, "saved_kwh"}
ADDITIVE: tuple[str, ...] = tuple(name for name in OUTCOMES if name in _KNOWN)
"""The outcomes that add up over zones and hours, in the order of `OUTCOMES`."""

Choice = Mapping[str, Settings]


def evaluate_settings(
    site: Site, traffic: Traffic, choices: Sequence[Choice], *, by_zone: bool = False
) -> dict[str, NDArray[np.float64]]:
    """Return every additive outcome of every choice, as a replay of each would.

    Parameters
    ----------
    site : the prepared site; its own settings are not used
    traffic : of one replication
    choices : each maps every name of the scenario's settings to the settings to use; timetable and overrides
        stay (K,)
    by_zone : outcomes of every zone instead of the site's

    Returns
    -------
    by outcome: (K,), or (Z, K) by zone; nan for truck outcomes where no visits are known

    Notes
    -----
    Equal to the replay to 1e-9 of the value or 1e-6, counts exactly.
    """
    plan = lay_out_choices(site.scenario, choices)
    zones = len(site.layout.zones)
    table = {name: np.zeros((zones if by_zone else 1, len(plan))) for name in ADDITIVE}
    occupied_s = np.zeros(zones)
    weeks = lay_weeks(site.scenario)
    for zone, home in enumerate(site.layout.zone_place.tolist() if choices else []):
        lamps, hold_s = zone_lamps(site, zone), site.layout.place_sensors[home].hold_s
        pieces = sort_zone(traffic, zone, weeks[home], plan.least_delay(weeks[home].names, hold_s))
        occupied_s[zone] = pieces.occupied_s
        found, fails = evaluate_zone(pieces, plan, lamps, hold_s)
        for place in np.flatnonzero(fails).tolist():
            for name, value in _replay_zone(site, traffic, zone, plan, place).items():
                found[name][place] = value
        for name, column in found.items():
            table[name][zone if by_zone else 0] += column
    by_place, total = fixed_outcomes(site, traffic, occupied_s)
    for name in FIXED:
        table[name][:] = by_place[name][:, None] if by_zone else total[name]
    table["saved_kwh"] = table["always_on_kwh"] - table["energy_kwh"]
    if traffic.visits is None or traffic.stays is None:
        for name in ADDITIVE:
            if OUTCOMES[name].needs_visits:
                table[name][:] = np.nan
    return table if by_zone else {name: rows[0] for name, rows in table.items()}


def evaluate_by_replay(
    site: Site, traffic: Traffic, choices: Sequence[Choice], *, by_zone: bool = False
) -> dict[str, NDArray[np.float64]]:
    """Do what `evaluate_settings` does by replaying the site once for every choice: the slow obvious twin."""
    rows = []
    for choice in choices:
        outcomes, _ = replay_site(relight(site, with_settings(site.scenario, choice)), traffic)
        rows.append(outcomes.zones if by_zone else outcomes.total)
    return {name: np.stack([np.asarray(row[name]) for row in rows], axis=-1) for name in ADDITIVE}


def lay_weeks(scenario: Scenario) -> tuple[Week, ...]:
    """Return where the settings of each place may change, whatever they are (P,).

    Raises
    ------
    InputError : daylight caps the levels, which no choice of settings knows of
    """
    if scenario.skylight is not None:
        raise InputError("skylight: settings cannot be searched under daylight caps; leave [skylight] out")
    names = tuple(scenario.lighting.settings)
    # stand-ins that differ from name to name, so that every border between two names is kept
    stand_in = {
        name: Settings(unoccupied_level=0.0, timeout_s=0.0, fade_down_s=float(place))
        for place, name in enumerate(names)
    }
    programs = place_programs(with_settings(scenario, stand_in))
    made = {
        id(program): lay_week(
            program.border, tuple(names[int(place)] for place in program.fade_down_s), program.latency_s
        )
        for program in programs
    }
    return tuple(made[id(program)] for program in programs)


def sort_zone(traffic: Traffic, zone: int, week: Week, least_s: float = 0.0) -> ZonePieces:
    """Sort the pieces of one zone; no delay below `least_s` will be asked for."""
    stays = None if traffic.visits is None or traffic.stays is None else traffic.stays.of_zone(zone)
    return sort_pieces(*traffic.detections.of_zone(zone), stays, week, least_s)


def zone_lamps(site: Site, zone: int) -> Lamps:
    """Return the luminaires of one zone."""
    curve = power_curve(site.layout.place_luminaires[site.layout.zone_place[zone]])
    return Lamps(fast_power(curve), int(site.layout.dimmed[zone]), int(site.layout.fixed[zone]))


def _replay_zone(site: Site, traffic: Traffic, zone: int, plan: Plan, place: int) -> dict[str, float]:
    """Replay one zone in one choice."""
    scenario = with_settings(site.scenario, plan.choices[place])
    home = int(site.layout.zone_place[zone])
    sensors = site.layout.place_sensors[home]
    program = compile_program(
        scenario.timetable,
        scenario.settings_of(scenario.places[home][1][0]),
        hold_s=sensors.hold_s,
        latency_s=sensors.latency_s,
        start=scenario.start_datetime,
        duration_s=scenario.duration_s,
        exceptions=scenario.exceptions or (),
    )
    commands = command_zone(*traffic.detections.of_zone(zone), program)
    stays = None if traffic.visits is None or traffic.stays is None else traffic.stays.of_zone(zone)
    lamps = zone_lamps(site, zone)
    books = keep_books(
        commands, run_fades(commands, program), stays, lamps.power.curve, lamps.dimmed, lamps.fixed, site.bins
    )
    return {name: math.fsum(books.hours[name]) for name in COUNTED if name in books.hours}
