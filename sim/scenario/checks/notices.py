"""What a reader of the results must know although the scenario is valid: open facts, keys without effect.

Comes in: a resolved scenario.  Goes out: plain sentences.  Part of `scenario/checks/contradictions`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from sim.floor.layout import sensor_positions
from sim.lighting.timetable import week_spans
from sim.scenario.checks.week import spans_text
from sim.scenario.parts import AisleKind, aisles_text, sort_aisles
from sim.scenario.schema import Scenario, Shift, TimetableRow, Trucks
from sim.units import WEEKDAYS

__all__ = ["NOTICES", "unseen_s", "unseen_stretches"]

_LEVELS = ("occupied_level", "unoccupied_level", "second_level")


def tell_open_facts(scenario: Scenario) -> Iterator[str]:
    """Facts that must be asked for on site and were not stated."""
    for key, meaning in (
        ("hold_s", "the sensors report without a hold time of their own"),
        ("passing_trigger", "no truck is seen that only passes a mouth"),
    ):
        stating = [override for override in scenario.override if key in override.model_fields_set]
        stated = {name for override in stating for name in override.aisles}
        if key not in scenario.sensors.model_fields_set and not stated.issuperset(scenario.aisle_names):
            value = getattr(scenario.sensors, key)
            yield f"sensors.{key} is not stated and taken as {value:g} ({meaning}): ask on site."


def tell_no_traffic(scenario: Scenario) -> Iterator[str]:
    """Without work nothing moves."""
    if not (scenario.work or scenario.inbound or scenario.outbound):
        yield "There is no [[work]]: nothing moves, unless logs are replayed."


def tell_equal_aisles(scenario: Scenario) -> Iterator[str]:
    """Equal aisles are never a silent default."""
    if len(scenario.aisle_names) < 2:
        return
    for work in (*scenario.work, *scenario.inbound, *scenario.outbound):
        if work.aisle_skew is None and work.top_20pct_share is None and work.aisle_shares is None:
            yield (
                f'All aisles are taken as equally busy, because work "{work.name}" gives no aisle_skew, '
                "top_20pct_share or aisle_shares; skew moves the answer more than most settings."
            )


def tell_unused_settings(scenario: Scenario) -> Iterator[str]:
    """Settings that are in force nowhere."""
    used = {
        kind.settings_names[name] for kind in sort_aisles(scenario) for name in scenario.names_in_force
    }
    for area in scenario.area or ():
        used |= {(area.settings or {}).get(name, name) for name in scenario.names_in_force}
    for name in scenario.lighting.settings:
        if name not in used:
            yield f'The settings "{name}" are never in force.'


def tell_idle_keys(scenario: Scenario) -> Iterator[str]:
    """A power curve decides; watts beside it say nothing."""
    curve = scenario.luminaires.power_curve
    if isinstance(curve, tuple) and curve[-1][1] != scenario.luminaires.full_w:
        yield (
            f"luminaires.full_w = {scenario.luminaires.full_w:g} W differs from the power_curve at level 1, "
            f"{curve[-1][1]:g} W: the curve is used."
        )
    for number, override in enumerate(scenario.override, start=1):
        given = [key for key in ("full_w", "standby_w") if key in override.model_fields_set]
        stated = (scenario.luminaires_of(name).power_curve for name in override.aisles)
        curves = {rows for rows in stated if isinstance(rows, tuple)}
        for key in given:
            at = -1 if key == "full_w" else 0
            watts = sorted({rows[at][1] for rows in curves if rows[at][1] != getattr(override, key)})
            if watts:
                drawn = " or ".join(f"{value:g}" for value in watts)
                yield (
                    f"override {number}: {key} = {getattr(override, key):g} W has no effect, because a "
                    f"power_curve is in force that gives {drawn} W there."
                )


def tell_blind_mouths(scenario: Scenario) -> Iterator[str]:
    """An end sensor that sees outside its mouth but not up to it from within."""
    for kind in sort_aisles(scenario):
        if kind.sensors.approach_m == 0.0:
            continue
        positions, _ = sensor_positions(kind.sensors, kind.luminaires, kind.length_m, 1)
        reach = kind.sensors.range_m
        gaps = {
            "front": float(positions.min()) - reach,
            "back": kind.length_m - float(positions.max()) - reach,
        }
        for mouth, gap in gaps.items():
            if gap > 0.0:
                yield (
                    f"In {aisles_text(kind.aisles)} the sensor nearest to the {mouth} mouth sees "
                    f"{kind.sensors.approach_m:g} m outside it, yet leaves the first {gap:.3g} m inside "
                    "uncovered (range_m too short, or the sensor too deep in the aisle)."
                )


def unseen_stretches(kind: AisleKind) -> list[tuple[float, float]]:
    """Return the stretches of an aisle that no sensor covers, start and end [m]."""
    positions, _ = sensor_positions(kind.sensors, kind.luminaires, kind.length_m, 1)
    stretches, covered = [], 0.0
    for position in sorted(positions.tolist()):
        if position - kind.sensors.range_m > covered:
            stretches.append((covered, position - kind.sensors.range_m))
        covered = max(covered, position + kind.sensors.range_m)
    if covered < kind.length_m:
        stretches.append((covered, kind.length_m))
    return stretches


def unseen_s(groups: Sequence[Trucks], length_m: float) -> float:
    """Return the mean time that a truck to the middle of an uncovered stretch goes unseen [s].

    Parameters
    ----------
    groups : truck groups, weighted by their number of trucks; at least one
    length_m : length of the stretch [m]

    Notes
    -----
    In and out over h = length / 2, one way laden and one way empty, plus one mean handling time.  A truck
    crosses the covered edge at cruising speed v if it can: t = h / v + v / (2 a) for h >= v^2 / (2 a), else
    sqrt(2 h / a); h / v without acceleration (elementary kinematics).
    """

    def leg(speed: float, acceleration: float) -> float:
        if acceleration == 0.0:
            return half / speed
        if half >= speed**2 / (2.0 * acceleration):
            return half / speed + speed / (2.0 * acceleration)
        return math.sqrt(2.0 * half / acceleration)

    half = length_m / 2.0
    total = sum(
        group.count
        * (
            leg(group.speed_laden_m_per_s, group.acceleration_m_per_s2)
            + leg(group.speed_empty_m_per_s, group.acceleration_m_per_s2)
            + group.handling_mean_s
        )
        for group in groups
    )
    return total / sum(group.count for group in groups)


def tell_blind_stretches(scenario: Scenario) -> Iterator[str]:
    """A stretch so long that a truck at work in it goes unseen until the light dims."""
    driven = [trucks for trucks in scenario.trucks if trucks.kind == "truck" and trucks.service_weight > 0.0]
    if not driven or not (scenario.work or scenario.inbound or scenario.outbound):
        return
    for kind in sort_aisles(scenario):
        stretches = unseen_stretches(kind)
        if not stretches:
            continue
        start, end = max(stretches, key=lambda stretch: stretch[1] - stretch[0])
        unseen = unseen_s(driven, end - start)
        short = {
            name: delay
            for name in dict.fromkeys(kind.settings_names[row.settings] for row in scenario.timetable)
            if (delay := kind.sensors.hold_s + scenario.lighting.settings[name].timeout_s) < unseen
        }
        if short:
            named = ", ".join(f'"{name}" ({delay:g} s)' for name, delay in short.items())
            yield (
                f"Blind stretch: in {aisles_text(kind.aisles)} no sensor covers {start:.4g} to {end:.4g} m "
                f"({end - start:.4g} m of {kind.length_m:g} m). A truck to a bay there goes unseen for about "
                f"{unseen:.0f} s, longer than hold + timeout of {named}: most deep visits will go dim."
            )


def _shift_spans(shifts: Sequence[Shift]) -> list[tuple[int, int]]:
    """Return when shifts work, start and end in seconds of the week."""
    rows = [
        TimetableRow.model_construct(days=shift.days, from_=shift.from_, to=shift.to, settings="")
        for shift in shifts
    ]
    return [(start, end) for start, end, _ in week_spans(rows)]


def _touches(start: int, end: int, spans: Sequence[tuple[int, int]]) -> bool:
    """Say whether any span overlaps [start, end)."""
    return any(first < end and start < last for first, last in spans)


def tell_level_zero(scenario: Scenario) -> Iterator[str]:
    """Full darkness while people work."""
    spans = _shift_spans(scenario.shifts)
    told = set()
    for kind in sort_aisles(scenario):
        for start, end, row in week_spans(scenario.timetable):
            name = kind.settings_names[scenario.timetable[row].settings]
            settings = scenario.lighting.settings[name]
            dark = [key for key in _LEVELS if getattr(settings, key) == 0.0]
            if dark and name not in told and _touches(start, end, spans):
                told.add(name)
                yield (
                    f'The settings "{name}" command level 0 ({", ".join(dark)}) in hours when shifts work: '
                    "a truck may drive into the dark until a sensor sees it. Whoever answers for safety on "
                    "site decides."
                )


def tell_unattended_work(scenario: Scenario) -> Iterator[str]:
    """Work that comes in hours without drivers waits, and comes in a rush with the next shift."""
    for work in scenario.work:
        kind = "walker" if work.kind == "walk" else "truck"
        able = work.trucks or [trucks.name for trucks in scenario.trucks if trucks.kind == kind]
        spans = _shift_spans([shift for shift in scenario.shifts if shift.trucks in able])
        rates = work.per_hour if isinstance(work.per_hour, tuple) else (work.per_hour,) * 24
        hours: list[tuple[int, int]] = []
        for day in sorted(WEEKDAYS.index(day) for day in work.days):
            for hour, rate in enumerate(rates):
                start = (day * 24 + hour) * 3600
                if rate == 0.0 or _touches(start, start + 3600, spans):
                    continue
                if hours and hours[-1][1] == start:
                    hours[-1] = (hours[-1][0], start + 3600)
                else:
                    hours.append((start, start + 3600))
        if hours:
            yield (
                f'Work "{work.name}" comes also in hours when no {kind} that may do it '
                f"{'is there' if kind == 'walker' else 'has a driver'} ({spans_text(hours)}): "
                "it waits for the next shift."
            )


NOTICES = (
    tell_no_traffic,
    tell_open_facts,
    tell_equal_aisles,
    tell_unattended_work,
    tell_blind_stretches,
    tell_blind_mouths,
    tell_level_zero,
    tell_idle_keys,
    tell_unused_settings,
)
