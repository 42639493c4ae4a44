"""A rebate worksheet: what is claimed, against which baseline, and beside which agreed numbers.

Comes in: a `Result`.  Goes out: `Worksheet`, yearly figures with intervals.  Before:
`verification/year_bases`, `outcome/credits`; after: `show/words/worksheet`.  All baselines lie on the same
traffic.  Measures are factors that multiply: each is what is left of the energy when one more of them is in
force, so that their product is what is left in the end, and no adding up makes more of it.

References
----------
UMP chapter 3 (from memory): kWh saved = kW controlled x EFLH before x CSF, EFLH = kWh / kW connected,
CSF = 1 - EFLH after / EFLH before.
Industrial assessment centre handbook (seen in a public copy): control savings factors, 5793 h as the default
hours of a year, coincidence 0.198 in summer and 0.172 in winter for occupancy controls.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sim.floor.layout import Layout
from sim.notebook import FIGURE_HEADER, figure_row, html_table
from sim.outcome.credits import SUMMER_COINCIDENCE, deemed_kw, deemed_kwh
from sim.outcome.year_load import QUARTERS_A_WEEK, YearClock, connected_kw
from sim.records import FloatColumn
from sim.results import Estimate, Result
from sim.scenario.schema import Scenario
from sim.study.replications.precision import estimate_mean
from sim.study.year.money import interactive_factor
from sim.verification.year_bases import year_loads

__all__ = [
    "DEFAULT_HOURS", "HANDBOOK_FACTORS", "WINTER_COINCIDENCE", "Base", "BaseName", "Deemed", "Measure",
    "MeasureName", "Worksheet", "make_worksheet",
]

HANDBOOK_FACTORS: Mapping[str, float] = {
    "occupancy": 0.24,
    "daylight": 0.28,
    "high-end trim and occupancy": 0.33,
    "high-end trim and daylight": 0.35,
    "occupancy and daylight": 0.38,
    "networked or luminaire-level, commissioned": 0.49,
}
"""Control savings factors of the industrial assessment centre handbook; 0.24, 0.28 and 0.38 agree with
Williams et al., Leukos 8(3) 2012, 0.49 with a study of networked controls of 2020."""
DEFAULT_HOURS = 5793.0
"""Hours of lighting in a year where none are known: the same handbook."""
WINTER_COINCIDENCE = 0.172
_QUARTER_H = 0.25

BaseName = Literal["today", "always_on", "schedule_only", "code_minimum"]
MeasureName = Literal["lamps", "trim", "timetable", "daylight", "sensors"]


@dataclass(frozen=True)
class Base:
    """One baseline and what is saved against it.

    Attributes
    ----------
    name : which
    kw : connected load of its lights [kW]
    kwh : energy of a year, heat pumped out of a store included
    hours_before, hours_after : equivalent full-load hours of its lights, and of the proposal's
    factor : control savings factor, of the controls alone
    saved_kwh : energy less the proposal's, paired
    window_kw : saving of mean load in the utility's window, None where none is stated
    is_struck : whether a code forces part of this saving anyway, so that it is not claimed
    """

    name: BaseName
    kw: float
    kwh: Estimate
    hours_before: float
    hours_after: float
    factor: Estimate
    saved_kwh: Estimate
    window_kw: Estimate | None
    is_struck: bool


@dataclass(frozen=True)
class Measure:
    """One measure: what is left of the energy with it.

    Attributes
    ----------
    name : which
    left : factor that it leaves
    kwh : energy of a year with it and those before it
    """

    name: MeasureName
    left: Estimate
    kwh: Estimate


@dataclass(frozen=True)
class Deemed:
    """An agreed saving, beside the simulated one.

    Attributes
    ----------
    name : of the factor
    factor : control savings factor
    hours : of lighting in a year
    kwh : deemed saving of a year
    over : deemed less what the controls save in the simulation
    kw : deemed saving at the utility's peak in summer, or as the programme states
    source : of the factor and the hours
    """

    name: str
    factor: float
    hours: float
    kwh: float
    over: float
    kw: float
    source: str


@dataclass(frozen=True)
class Worksheet:
    """Everything on the sheet.

    Attributes
    ----------
    scenario : the site
    source : "run" or "replay"
    replications, year, weeks : of the simulation, and the calendar year that its weeks are laid over
    connected_kw, controlled_kw : of all luminaires, and of those that dim
    heat_factor : each lighting kWh counts so often
    kwh : energy of a year as proposed
    bases : what is there today first, where it is known
    measures : in the order in which they multiply
    lamps_kwh : saved by new lamps in today's hours, a measure of its own; None where today is not stated
    forced_kwh : what the code minimum saves of the lights without the new controls, struck out; None where no
        code applies
    counted_kwh : what the controls save that counts
    lifetime_kwh : counted saving times measure life times net over gross, None where they are not stated
    deemed : agreed savings
    """

    scenario: Scenario
    source: str
    replications: int
    year: int
    weeks: int
    connected_kw: float
    controlled_kw: float
    heat_factor: float
    kwh: Estimate
    bases: tuple[Base, ...]
    measures: tuple[Measure, ...]
    lamps_kwh: Estimate | None
    forced_kwh: Estimate | None
    counted_kwh: Estimate
    lifetime_kwh: Estimate | None
    deemed: tuple[Deemed, ...]

    def _repr_html_(self) -> str:
        """Show the savings of a year as a table in a notebook."""
        rows = [figure_row("energy as proposed", self.kwh.mean, self.kwh.half_width, "kWh a year")]
        for base in self.bases:
            saved, struck = base.saved_kwh, ", struck out" if base.is_struck else ""
            name = f"saved over {base.name.replace('_', ' ')}{struck}"
            rows.append(figure_row(name, saved.mean, saved.half_width, "kWh a year"))
        counted = self.counted_kwh
        rows.append(figure_row("what counts", counted.mean, counted.half_width, "kWh a year"))
        remark = f"{self.source}, {self.replications} replications; ±: half-width, 95 %"
        return html_table(f"Worksheet: {self.scenario.title}", FIGURE_HEADER, rows, (remark,))


def make_worksheet(result: Result) -> Worksheet:
    """Return the worksheet of a run or a replay.

    Parameters
    ----------
    result : of at least a whole week that starts on a quarter-hour

    Raises
    ------
    InputError : the run is too short, or starts off the clock's quarter-hours
    """
    scenario, layout = result.scenario, result.layout
    clock, loads = year_loads(result)
    heat = interactive_factor(scenario)
    numbers = range(len(result.outcomes))
    kwh = {name: [_kwh(load) for load in each] for name, each in loads.items()}
    today = scenario.today
    if today is not None:
        kw = today.luminaires * today.full_w / 1000.0
        used = heat * kw * today.hours_per_year * (1.0 - today.savings_factor)
        kwh["today"] = [used for _ in numbers]
        # new lamps in the hours of the old ones: what the controls then make of it is theirs
        kwh["lamps"] = [used * connected_kw(layout) / kw for _ in numbers]
    rebate = scenario.rebate
    code_applies = rebate is None or rebate.code_applies
    connected = connected_kw(layout)
    names: list[BaseName] = ["always_on", "schedule_only", "code_minimum"]
    if today is not None:
        names.insert(0, "today")
    bases = tuple(
        _make_base(result, name, clock, loads, kwh, heat, connected, code_applies) for name in names
    )
    forced, counted = _split(kwh, "always_on" if today is None else "lamps", code_applies)
    return Worksheet(
        scenario=scenario,
        source=result.source,
        replications=len(result.outcomes),
        year=clock.year,
        weeks=len(result.outcomes[0].quarter_kw) // QUARTERS_A_WEEK,
        connected_kw=connected,
        controlled_kw=connected_kw(layout, dimmed_only=True),
        heat_factor=heat,
        kwh=estimate_mean(kwh["settings"]),
        bases=bases,
        measures=_measures(scenario, kwh),
        lamps_kwh=None if today is None else _difference(kwh["today"], kwh["lamps"]),
        forced_kwh=forced,
        counted_kwh=counted,
        lifetime_kwh=_lifetime(scenario, counted),
        deemed=_deemed(scenario, layout, kwh, heat, connected),
    )


def _kwh(load_kw: FloatColumn) -> float:
    """Energy of a year of quarter-hours."""
    return float(load_kw.sum()) * _QUARTER_H


def _make_base(
    result: Result,
    name: BaseName,
    clock: YearClock,
    loads: Mapping[str, list[FloatColumn]],
    kwh: Mapping[str, list[float]],
    heat: float,
    connected: float,
    code_applies: bool,
) -> Base:
    """One baseline against the proposal."""
    scenario = result.scenario
    today = scenario.today
    kw = today.luminaires * today.full_w / 1000.0 if name == "today" and today is not None else connected
    before = [energy / heat / kw for energy in kwh[name]]
    after = [energy / heat / connected for energy in kwh["settings"]]
    window = scenario.demand_window
    saved_kw = None
    if window is not None and name != "today":
        inside = clock.in_hours(window)
        saved_kw = estimate_mean(
            [
                float(base[inside].mean() - here[inside].mean())
                for base, here in zip(loads[name], loads["settings"], strict=True)
            ]
        )
    return Base(
        name=name,
        kw=kw,
        kwh=estimate_mean(kwh[name]),
        hours_before=float(np.mean(before)),
        hours_after=float(np.mean(after)),
        factor=estimate_mean([1.0 - late / early for early, late in zip(before, after, strict=True)]),
        saved_kwh=_difference(kwh[name], kwh["settings"]),
        window_kw=saved_kw,
        is_struck=code_applies and float(np.mean(kwh[name])) > float(np.mean(kwh["code_minimum"])),
    )


def _difference(more: list[float], less: list[float]) -> Estimate:
    """Paired difference over replications."""
    return estimate_mean([first - second for first, second in zip(more, less, strict=True)])


def _split(
    kwh: Mapping[str, list[float]], reference: str, code_applies: bool
) -> tuple[Estimate | None, Estimate]:
    """What a code forces of the controls' saving, and what counts.

    Lights that use less than the code minimum already are their own baseline: the code forces nothing more.
    """
    if not code_applies:
        return None, _difference(kwh[reference], kwh["settings"])
    floor = min(kwh[reference], kwh["code_minimum"], key=lambda energy: float(np.mean(energy)))
    return _difference(kwh[reference], floor), _difference(floor, kwh["settings"])


def _measures(scenario: Scenario, kwh: Mapping[str, list[float]]) -> tuple[Measure, ...]:
    """Lamps, trim, timetable, daylight and sensors as factors.

    Where there are lamps today, trim acts on their hours; the timetable then says in which hours the new ones
    burn, which may be more.
    """
    steps: list[tuple[MeasureName, list[float]]] = [
        ("trim", kwh["trim"]),
        ("timetable", kwh["timetable"]),
        ("daylight", kwh["schedule_only"]),
        ("sensors", kwh["settings"]),
    ]
    if scenario.skylight is None:
        del steps[2]
    before = kwh["always_on"]
    if scenario.today is not None:
        before = kwh["today"]
        trimmed = [
            lamps * trim / always
            for lamps, trim, always in zip(kwh["lamps"], kwh["trim"], kwh["always_on"], strict=True)
        ]
        steps = [("lamps", kwh["lamps"]), ("trim", trimmed), *steps[1:]]
    found = []
    for name, after in steps:
        left = estimate_mean([late / early for early, late in zip(before, after, strict=True)])
        found.append(Measure(name, left, estimate_mean(after)))
        before = after
    return tuple(found)


def _lifetime(scenario: Scenario, counted: Estimate) -> Estimate | None:
    """Counted saving over the measure's life, net."""
    rebate = scenario.rebate
    if rebate is None or rebate.measure_life_years is None or counted.mean is None:
        return None
    scale = rebate.measure_life_years * (1.0 if rebate.net_to_gross is None else rebate.net_to_gross)
    half = None if counted.half_width is None else scale * counted.half_width
    return Estimate(scale * counted.mean, half)


def _deemed(
    scenario: Scenario, layout: Layout, kwh: Mapping[str, list[float]], heat: float, connected: float
) -> tuple[Deemed, ...]:
    """Agreed savings of the lights that dim, less what today's controls save; beside the controls' own."""
    rebate = scenario.rebate
    controlled = connected_kw(layout, dimmed_only=True)
    hours, hours_source = float(np.mean(kwh["always_on"])) / heat / connected, "hours as always on"
    before, present = kwh["always_on"], 0.0
    if scenario.today is not None:
        hours, hours_source = scenario.today.hours_per_year, "hours as today"
        before, present = kwh["lamps"], scenario.today.savings_factor
    if rebate is not None and rebate.deemed_hours is not None:
        hours, hours_source = rebate.deemed_hours, f"hours: {rebate.deemed_hours_source}"
    simulated = float(np.mean(before)) - float(np.mean(kwh["settings"]))
    factors = [(name, share, "assessment centre handbook") for name, share in HANDBOOK_FACTORS.items()]
    if rebate is not None and rebate.deemed_factor is not None:
        source = str(rebate.deemed_factor_source)
        factors.insert(0, (rebate.programme, rebate.deemed_factor, source))
    coincidence = SUMMER_COINCIDENCE
    if rebate is not None and rebate.coincidence is not None:
        coincidence = rebate.coincidence
    found = []
    for name, share, source in factors:
        energy = heat * deemed_kwh(controlled, hours, share, present)
        found.append(
            Deemed(
                name=name,
                factor=share,
                hours=hours,
                kwh=energy,
                over=energy - simulated,
                kw=heat * deemed_kw(controlled, share, coincidence, present),
                source=f"{source}; {hours_source}",
            )
        )
    return tuple(found)
