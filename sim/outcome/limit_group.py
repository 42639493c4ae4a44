"""One row of a site beside a limit, and the groups of aisles that rows speak of.

Comes in: a scenario, a limit, a number.  Goes out: `LimitRow`, `Group`, and the sums that several rules use.
Before: `outcome/limits`, `lighting/power`; after: `outcome/limit_rows`.

A group is the aisles that are alike; the zones of one aisle share their settings.  Light at a level is the
average at full times the share of light at that level; luminaires that never dim would add to it, and are
left out.  Power counts them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sim.lighting.power import light_share, power_curve
from sim.outcome.limits import Limit
from sim.scenario.schema import Luminaires, Scenario, Sensors, Settings
from sim.units import LUX_PER_FOOTCANDLE

__all__ = [
    "W_PER_M2_PER_W_PER_FT2", "Group", "LimitRow", "arrival_m", "egress_aisles", "gather_areas",
    "gather_groups", "light_row", "low_power_share", "number_row", "power_density", "stated_row",
]

W_PER_M2_PER_W_PER_FT2 = LUX_PER_FOOTCANDLE
"""One square foot is 0.09290304 m2, so the factor is that of footcandles."""


@dataclass(frozen=True)
class LimitRow:
    """One number of the site beside one limit.

    Attributes
    ----------
    rule : name of the rule set
    aisles : names of the aisles it speaks of
    period : the timetable's name for the settings in force, "" where it does not matter
    what : the quantity in words
    value : the site's number; None where it is not known, or where only a statement counts
    unit : of value and limits
    least, most : the limits, None where there is none on that side
    is_met : None where it cannot be told, or where there is no limit
    source : document, edition, clause
    seen : where the limit was read
    remark : what else to know, "" for nothing
    is_judged : False where the number is only shown, because it is not sure or does not decide here
    """

    rule: str
    aisles: tuple[str, ...]
    period: str
    what: str
    value: float | None
    unit: str
    least: float | None
    most: float | None
    is_met: bool | None
    source: str
    seen: str
    remark: str = ""
    is_judged: bool = True


@dataclass(frozen=True)
class Group:
    """Aisles, or open areas, alike in all that limits look at, in one period of the timetable."""

    aisles: tuple[str, ...]
    period: str
    settings: Settings
    sensors: Sensors
    luminaires: Luminaires
    area_m2: float

    @property
    def delay_s(self) -> float:
        """Hold and timeout together [s]."""
        return self.sensors.hold_s + self.settings.timeout_s

    @property
    def low_level(self) -> float:
        """The lowest level these settings reach."""
        second = self.settings.second_level
        return self.settings.unoccupied_level if second is None else second

    def lux(self, level: float) -> float | None:
        """Average on the floor at a level [lx]."""
        full = self.luminaires.floor_lux_at_full
        return None if full is None else full * light_share(self.luminaires, level)


def low_power_share(luminaires: Luminaires, level: float) -> float:
    """Return the power of an aisle at a level, share of its full power; fixed-on luminaires stay full.

    Examples
    --------
    >>> lamps = Luminaires(per_aisle=10, full_w=100.0, standby_w=2.0, fixed_on=1)
    >>> round(low_power_share(lamps, 0.5), 4)
    0.559
    """
    curve, count, fixed = power_curve(luminaires), luminaires.per_aisle, luminaires.fixed_on
    watts = (count - fixed) * float(curve.at(level)) + fixed * curve.full_w
    return watts / (count * curve.full_w)


def power_density(luminaires: Luminaires, area_m2: float) -> float:
    """Return the lighting power density of an aisle at full level [W/ft2]."""
    watts = luminaires.per_aisle * power_curve(luminaires).full_w
    return watts / area_m2 / W_PER_M2_PER_W_PER_FT2


def arrival_m(speed_m_per_s: float, latency_s: float, fade_up_s: float) -> float:
    """Return how far a truck drives from being seen to full light [m].

    Examples
    --------
    >>> round(arrival_m(3.0, 0.2, 0.707), 2)
    2.72
    """
    return speed_m_per_s * (latency_s + fade_up_s)


def gather_groups(scenario: Scenario) -> list[Group]:
    """The aisles by what limits look at, once for each name of the timetable."""
    return _gather(scenario, scenario.aisle_names)


def gather_areas(scenario: Scenario) -> list[Group]:
    """The open areas by what limits look at, likewise."""
    return _gather(scenario, scenario.area_names)


def _gather(scenario: Scenario, names: Sequence[str]) -> list[Group]:
    """Aisles or open areas that are alike, once for each name of the timetable."""
    periods = scenario.names_in_force
    found: dict[tuple[object, ...], list[str]] = {}
    made: dict[tuple[object, ...], Group] = {}
    for name in names:
        luminaires, sensors = scenario.luminaires_of(name), scenario.sensors_of(name)
        chosen, area = scenario.settings_of(name), scenario.area_m2_of(name)
        for period in periods:
            group = Group((), period, chosen[period], sensors, luminaires, area)
            key = (period, repr(chosen[period]), sensors.hold_s, sensors.latency_s, repr(luminaires), area)
            made.setdefault(key, group)
            found.setdefault(key, []).append(name)
    return [replace(made[key], aisles=tuple(alike)) for key, alike in found.items()]


def number_row(
    rule: str, group: Group, what: str, value: float | None, limit: Limit, remark: str = ""
) -> LimitRow:
    """One number beside one limit in one period; a number of low trust is shown and decides nothing."""
    is_judged = limit.trust != "low"
    return LimitRow(
        rule=rule,
        aisles=group.aisles,
        period=group.period,
        what=what,
        value=value,
        unit=limit.unit,
        least=limit.value if limit.is_least else None,
        most=None if limit.is_least else limit.value,
        is_met=limit.is_met(value) if is_judged and value is not None else None,
        source=limit.source,
        seen=limit.seen,
        remark=remark,
        is_judged=is_judged,
    )


def stated_row(
    rule: str, aisles: Sequence[str], what: str, answer: bool | None, source: str, seen: str, key: str
) -> LimitRow:
    """One fact that the scenario states or leaves open."""
    remark = f"not stated: statements.{key}" if answer is None else f"as stated: statements.{key}"
    return LimitRow(rule, tuple(aisles), "", what, None, "-", None, None, answer, source, seen, remark)


def light_row(rule: str, group: Group, level: float, which: str, limit: Limit) -> LimitRow:
    """Average light on the floor at one level."""
    value = group.lux(level)
    remark = f"{which} {100.0 * level:.3g} %"
    if value is None:
        remark += "; not known: state luminaires.floor_lux_at_full, or lumens, utilisation and light_loss"
    return number_row(rule, group, f"floor light, {limit.meaning}", value, limit, remark)


def egress_aisles(scenario: Scenario) -> tuple[str, ...] | None:
    """Aisles that are marked ways out, None where nobody says."""
    for table in (scenario.statements, scenario.recommend):
        if table is not None and table.egress_aisles is not None:
            return table.egress_aisles
    return None
