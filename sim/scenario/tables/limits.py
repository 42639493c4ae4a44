"""Which numeric limits of codes and safety rules to set the site beside, and what only the site can say.

Comes in: plain values.  Goes out: the names of rule sets and the frozen `Statements` table.
Before: `scenario/tables/base`; after: `scenario/schema`, `outcome/limit_rows`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from sim.scenario.tables.base import AnyNames, Frozen, Part, quantity

__all__ = ["RuleNames", "Statements"]

RuleName = Literal[
    "ASHRAE 90.1-2007",
    "ASHRAE 90.1-2010",
    "ASHRAE 90.1-2013",
    "ASHRAE 90.1-2016",
    "ASHRAE 90.1-2019",
    "ASHRAE 90.1-2022",
    "IECC-2012",
    "IECC-2015",
    "IECC-2018",
    "IECC-2021",
    "IECC-2024",
    "Title 24",
    "EN 12464-1",
    "HSG38",
    "OSHA 1910.178(h)",
    "NFPA 101 egress",
]


def _named_once(names: tuple[Any, ...]) -> tuple[Any, ...]:
    """Refuse a rule that stands twice."""
    for name in names:
        if names.count(name) > 1:
            raise ValueError(f'"{name}" stands more than once')
    return names


RuleNames = Annotated[tuple[RuleName, ...], Field(min_length=1), Frozen, AfterValidator(_named_once)]


class Statements(Part):
    """What rules ask about and only the site can say; nothing in the simulation depends on it."""

    egress_aisles: AnyNames | None = quantity("aisles that are marked ways out; [] for none", "-", None)
    goods: Literal["bulky", "small"] | None = quantity(
        "medium to bulky palletised goods, or small hand-carried ones: which lighting power density holds",
        "-",
        None,
    )
    lpd_method: Literal["space by space", "building area"] | None = quantity(
        "by which of the codes' two methods lighting power density is judged; absent: space by space",
        "-",
        None,
    )
    light_source: Literal["LED", "metal halide", "high-pressure sodium"] | None = quantity(
        "kind of lamp; some editions ask less of discharge lamps", "-", None
    )
    each_aisle_alone: bool | None = quantity(
        "as wired, no sensor controls light beyond its own aisle", "-", None
    )
    manual_override: bool | None = quantity("people can switch the lights by hand", "-", None)
    shut_off: Literal["scheduled", "full", "none"] | None = quantity(
        "what turns the lights off besides: a time switch, sensors that switch fully off, nothing", "-", None
    )
    fails_to_full: bool | None = quantity("the lights go to full when a control fails", "-", None)
    power_return_to_full: bool | None = quantity(
        "the lights go to full when the power returns", "-", None
    )
    fire_alarm_to_full: bool | None = quantity("the fire alarm brings the lights to full", "-", None)
