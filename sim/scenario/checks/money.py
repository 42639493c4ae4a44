"""Contradictions and open facts about money: what needs what, hours off the meter's grid, rows that overlap.

Comes in: the valid parts of a scenario, or a whole one.  Goes out: problems and notices.  Part of
`scenario/checks/contradictions`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from sim.lighting.timetable import week_spans
from sim.scenario.checks.site import repeated
from sim.scenario.checks.week import spans_text
from sim.scenario.faults import Problem
from sim.scenario.parts import Parts
from sim.scenario.positions import Key
from sim.scenario.schema import Scenario, TimetableRow, seconds_of_day
from sim.scenario.tables.money import EnergyBlock, EnergyPrice, Hours, SiteLoad, Store, Tariff
from sim.wording import nearest_text

__all__ = ["MONEY_CHECKS", "MONEY_NOTICES"]

_YEARLY = ("tariff", "carbon", "proposal", "demand_window", "year")
_YEARLY_LISTS = ("yard", "offices", "year_weeks")
_NEED_TARIFF = ("energy_prices", "energy_blocks", "demand_charges", "site_load", "proposal")
_WEEK_D = 7.0
_DAY_S = 86_400


def check_span(parts: Parts) -> Iterator[Problem]:
    """A year is made of whole weeks of the run, on the clock's quarter-hours."""
    asked = [name for name in _YEARLY if name in parts.tables]
    asked += [name for name in _YEARLY_LISTS if parts.lists[name]]
    if not asked:
        return
    days, start = parts.values.get("days"), parts.values.get("start")
    if isinstance(days, int | float) and days < _WEEK_D:
        yield Problem(
            ("days",), f"{days:g} days hold no whole week, which [{asked[0]}] needs; allowed: at least 7 [d]"
        )
    if isinstance(start, dt.datetime) and (start.minute % 15 or start.second or start.microsecond):
        yield Problem(
            ("start",),
            f"{start:%H:%M:%S} is not on a quarter-hour, as [{asked[0]}] needs; write 00, 15, 30, 45",
        )


def check_tariff_is_there(parts: Parts) -> Iterator[Problem]:
    """Prices, charges, loads and proposals are nothing without a tariff."""
    if "tariff" in parts.tables or "tariff" in parts.faulty:
        return
    for name in _NEED_TARIFF:
        rows = parts.lists.get(name)
        if rows:
            yield Problem((name, min(rows)), "needs a [tariff] with currency and per_kwh")
        elif name in parts.tables:
            yield Problem((name,), "needs a [tariff] with currency and per_kwh")


def _hours(parts: Parts) -> Iterator[tuple[Key, Hours, int]]:
    """Every row with hours, its path and the grid that they must lie on [min]."""
    tariff = parts.tables.get("tariff")
    interval = tariff.demand_interval_min if isinstance(tariff, Tariff) else 15
    for name, grid in (("energy_prices", 15), ("demand_charges", interval)):
        for position, row in parts.lists[name].items():
            assert isinstance(row, Hours)
            yield (name, position), row, grid
    window = parts.tables.get("demand_window")
    if isinstance(window, Hours):
        yield ("demand_window",), window, 15


def check_grid(parts: Parts) -> Iterator[Problem]:
    """Hours begin and end on the meter's grid, have a length, and name days and months once."""
    for path, row, grid in _hours(parts):
        for key, clock in (("from", row.from_), ("to", row.to)):
            if seconds_of_day(clock) % (grid * 60):
                yield Problem((*path, key), f'"{clock}" is not a multiple of {grid} min, the meter\'s grid')
        if seconds_of_day(row.from_) == _DAY_S:
            yield Problem((*path, "from"), 'begins at "24:00"; write "00:00" of the next day')
        elif seconds_of_day(row.from_) == seconds_of_day(row.to):
            yield Problem(
                (*path, "to"),
                f'begins and ends at "{row.to}"; for a whole day write from = "00:00" and to = "24:00"',
            )
        for key, values in (("days", row.days), ("months", row.months)):
            twice = sorted({str(value) for value in values if values.count(value) > 1})
            for value in twice:
                yield Problem((*path, key), f"{value} stands more than once")


def check_blocks(parts: Parts) -> Iterator[Problem]:
    """No month has two blocks that begin at one amount."""
    seen: dict[tuple[float, int], int] = {}
    for position, row in parts.lists["energy_blocks"].items():
        assert isinstance(row, EnergyBlock)
        for month in row.months:
            earlier = seen.setdefault((row.above_kwh, month), position)
            if earlier == position and row.months.count(month) > 1:
                yield Problem(("energy_blocks", position, "months"), f"{month} stands more than once")
            elif earlier != position:
                yield Problem(
                    ("energy_blocks", position, "above_kwh"),
                    f"row {position + 1} and row {earlier + 1} both begin at {row.above_kwh:g} kWh in month "
                    f"{month}; write their sum once",
                )
                break


def check_overlap(parts: Parts) -> Iterator[Problem]:
    """No hour has two prices of energy."""
    seen: list[tuple[int, EnergyPrice]] = []
    for position, row in parts.lists["energy_prices"].items():
        assert isinstance(row, EnergyPrice)
        if seconds_of_day(row.from_) in (_DAY_S, seconds_of_day(row.to)):
            continue
        for earlier, other in seen:
            shared = sorted(set(row.months) & set(other.months))
            both = [
                (max(start, first), min(end, last))
                for start, end in _spans(row)
                for first, last in _spans(other)
                if max(start, first) < min(end, last)
            ]
            if shared and both:
                months = ", ".join(map(str, shared[:3])) + (" ..." if len(shared) > 3 else "")
                yield Problem(
                    ("energy_prices", position),
                    f"row {position + 1} and row {earlier + 1} both give a price for "
                    f"{spans_text(sorted(set(both)))} in month {months}; an hour has one price",
                )
        seen.append((position, row))


def _spans(row: Hours) -> list[tuple[int, int]]:
    """Hours of a row as seconds of the week."""
    days = tuple(dict.fromkeys(row.days))
    plain = TimetableRow.model_construct(days=days, from_=row.from_, to=row.to, settings="")
    return [(start, end) for start, end, _ in week_spans([plain])]


def check_site_load(parts: Parts) -> Iterator[Problem]:
    """Each weekday has one site load."""
    taken: dict[str, int] = {}
    for position, row in parts.lists["site_load"].items():
        assert isinstance(row, SiteLoad)
        for day in row.days:
            if day in taken:
                where = "this row" if taken[day] == position else f"row {taken[day] + 1}"
                yield Problem(("site_load", position, "days"), f'"{day}" stands in {where} already')
            taken.setdefault(day, position)


def check_store(parts: Parts) -> Iterator[Problem]:
    """The cold store's aisles are there, each named once."""
    store = parts.tables.get("store")
    if not isinstance(store, Store):
        return
    for number, name in enumerate(store.aisles or ()):
        if parts.aisle_names is not None and name not in parts.aisle_names:
            near = nearest_text(name, parts.aisle_names)
            yield Problem(("store", "aisles", number), f'there is no aisle "{name}"{near}')
    for name, positions in repeated(store.aisles or ()).items():
        yield Problem(("store", "aisles", positions[1]), f'the aisle "{name}" stands more than once')
    if store.aisles == ():
        yield Problem(("store", "aisles"), "names no aisle; leave it out where all are in the store")


MONEY_CHECKS = (
    check_span, check_tariff_is_there, check_grid, check_overlap, check_blocks, check_site_load,
    check_store,
)


def tell_part_weeks(scenario: Scenario) -> Iterator[str]:
    """Days beyond whole weeks are not in the year."""
    asked = any(getattr(scenario, name) for name in (*_YEARLY, *_YEARLY_LISTS))
    over = scenario.days % _WEEK_D
    if asked and over:
        yield f"A year is made of whole weeks of the run: its last {over:g} days are not in yearly figures."


def tell_blocks_alone(scenario: Scenario) -> Iterator[str]:
    """Blocks count the meter's energy; without a site load only the lights fill them."""
    meets = scenario.energy_blocks or (scenario.tariff is not None and scenario.tariff.minimum_per_month)
    if meets and not scenario.site_load:
        yield (
            "Blocks of energy and the least bill are reckoned on the lights alone, because there is no "
            "[[site_load]]: in truth the site's meter decides which block a saved kilowatt-hour falls in."
        )


def tell_lights_alone(scenario: Scenario) -> Iterator[str]:
    """A demand charge on the lights alone misses when the site's own peak is."""
    if scenario.demand_charges and not scenario.site_load:
        yield (
            "Demand is charged on the lights alone, because there is no [[site_load]]: in truth a saving "
            "counts only at the hour of the site's own peak."
        )


MONEY_NOTICES = (tell_part_weeks, tell_lights_alone, tell_blocks_alone)
