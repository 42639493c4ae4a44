"""What a user may say about money: tariff, site load, carbon, a proposal and the year that bills speak of.

Comes in: plain values.  Goes out: frozen tables, all optional.  Before: `scenario/tables/base`; after:
`scenario/schema`, `outcome/tariff`.  Nothing here touches traffic or lights.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from sim.scenario.tables.base import (
    EVERY_DAY,
    FIRST_YEAR,
    LAST_YEAR,
    Amount,
    AnyNames,
    Clock,
    Days,
    Frozen,
    Hourly,
    Name,
    Part,
    Positive,
    Share,
    Title,
    quantity,
)

__all__ = [
    "ALL_MONTHS", "Carbon", "DemandCharge", "DemandWindow", "EnergyBlock", "EnergyPrice", "Hours", "Proposal",
    "SiteLoad", "Store", "Tariff", "Year",
]

Months = Annotated[
    tuple[Annotated[int, Field(ge=1, le=12)], ...], Field(min_length=1, max_length=12), Frozen
]
Rate = Annotated[float, Field(gt=-1.0, le=1.0)]
Difference = Annotated[float, Field(ge=-1e7, le=1e7)]
ALL_MONTHS = tuple(range(1, 13))


class Hours(Part):
    """Hours of the week in some months; on the clock's quarter-hours."""

    months: Months = quantity("months by number", "-", ALL_MONTHS)
    days: Days = quantity("weekdays on which these hours begin", "-", EVERY_DAY)
    from_: Clock = quantity("start, wall clock HH:MM", "h", "00:00", alias="from")
    to: Clock = quantity("end, wall clock HH:MM; earlier than the start: past midnight", "h", "24:00")


class Tariff(Part):
    """What electricity costs; any currency, none is converted."""

    currency: Name = quantity("name of the money, such as EUR")
    per_kwh: Amount = quantity("price of energy in all hours that no row of energy_prices covers", "1/kWh")
    demand_interval_min: Literal[15, 30] = quantity("length of the meter's demand interval", "min", 15)
    ratchet_share: Share | None = quantity(
        "a month is billed for at least this share of the highest demand of the months before", "-", None
    )
    ratchet_months: int = quantity("how many months before count for that", "months", 11, ge=1, le=11)
    fixed_per_month: Amount = quantity("paid each month whatever is used", "money", 0.0)
    fixed_per_day: Amount = quantity("paid each day whatever is used", "money", 0.0)
    minimum_per_month: Amount = quantity("least bill of a month, all charges together", "money", 0.0)


class EnergyPrice(Hours):
    """Price of energy in some hours, instead of tariff.per_kwh; rows must not overlap."""

    per_kwh: Amount = quantity("price of energy", "1/kWh")


class EnergyBlock(Part):
    """What each kilowatt-hour of a month above some amount costs more; rows add up."""

    above_kwh: Amount = quantity("energy of the site's meter in the month from which this counts", "kWh")
    per_kwh: Difference = quantity("more than the price of the hour; negative: less", "1/kWh")
    months: Months = quantity("months by number", "-", ALL_MONTHS)


class DemandCharge(Hours):
    """Monthly charge on the site meter's highest demand in some hours; rows may overlap and add up."""

    per_kw: Amount = quantity("charge for a month's highest demand", "1/kW")


class SiteLoad(Part):
    """What else runs behind the site's meter, so that its peak is the site's and not the lights'."""

    days: Days = quantity("weekdays", "-", EVERY_DAY)
    kw: Hourly = quantity("load without these lights: one number, or 24 by hour of the day", "kW")


class DemandWindow(Hours):
    """A utility's window, in which the mean load is told."""


class Carbon(Part):
    """What a kilowatt-hour emits."""

    g_per_kwh: Positive = quantity("grams of CO2 per kilowatt-hour", "g/kWh")
    year: int = quantity("year of the factor", "-", ge=FIRST_YEAR, le=LAST_YEAR)
    kind: Literal["average", "marginal"] = quantity("of all generation, or of what a change of load moves")
    source: Title = quantity("where the factor stands")


class Store(Part):
    """What the heat of the lights costs or saves."""

    aisles: AnyNames | None = quantity("aisles in the cold store; absent: all", "-", None)
    cooling_cop: Positive | None = quantity(
        "cold store: heat removed over electricity used; each lighting kWh then counts 1 + 1/COP; absent: "
        "unheated and uncooled, factor 1",
        "-",
        None,
    )


class Proposal(Part):
    """What the controls cost and against what their saving stands."""

    baseline: Literal["always_on", "schedule_only", "code_minimum"] = quantity(
        "what the lights would do without the proposal", "-", "always_on"
    )
    cost_per_luminaire: Amount = quantity("for each luminaire", "money", 0.0)
    cost_per_sensor: Amount = quantity("for each sensor", "money", 0.0)
    cost_fixed: Amount = quantity("for the whole site, commissioning included", "money", 0.0)
    maintenance_per_year: Amount = quantity("more than without the proposal, each year", "money", 0.0)
    rebate: Amount = quantity("paid back at once", "money", 0.0)
    rebate_per_kwh: Amount = quantity("paid back at once for each kWh saved in a year", "money/kWh", 0.0)
    years: int = quantity("years that the saving is counted for", "years", ge=1, le=60)
    discount_rate: Rate = quantity("interest of a year that other money would earn", "-")
    price_rise_per_year: Rate = quantity("how the price of electricity rises from year to year", "-", 0.0)
    rated_switchings: Positive | None = quantity(
        "switchings that a luminaire or its relay is rated for", "-", None
    )


class Year(Part):
    """The calendar year that bills speak of."""

    of: int | None = quantity(
        "calendar year; absent: the year of start", "-", None, ge=FIRST_YEAR, le=LAST_YEAR
    )
