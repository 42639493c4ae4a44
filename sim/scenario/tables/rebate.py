"""What a user may say for a rebate worksheet: a programme's agreed numbers, and today's lights.

Comes in: plain values.  Goes out: frozen tables, all optional.  Before: `scenario/tables/base`; after:
`scenario/schema`, `verification/worksheet`.  A number that a programme agreed on stands beside its source,
edition and page; without a source it is refused.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from sim.scenario.tables.base import Part, Positive, Share, Title, quantity

__all__ = ["SOURCED_KEYS", "Rebate", "Today"]

HoursAYear = Annotated[float, Field(gt=0.0, le=8784.0)]
SOURCED_KEYS = ("measure_life_years", "net_to_gross", "deemed_factor", "deemed_hours", "coincidence")
"""Keys of [rebate] that each need a key of the same name with _source."""


class Rebate(Part):
    """A programme's agreed numbers, each with its source."""

    programme: Title = quantity("what to call it", "-", "rebate programme")
    code_applies: bool = quantity(
        "whether an energy code forces its minimum here anyway, so that only what lies beyond it counts",
        "-",
        True,
    )
    measure_life_years: Annotated[float, Field(gt=0.0, le=60.0)] | None = quantity(
        "years that the saving is counted for", "years", None
    )
    measure_life_years_source: Title | None = quantity("document, edition and page", "-", None)
    net_to_gross: Annotated[float, Field(ge=0.0, le=2.0)] | None = quantity(
        "net over gross saving", "-", None
    )
    net_to_gross_source: Title | None = quantity("document, edition and page", "-", None)
    deemed_factor: Share | None = quantity("the programme's control savings factor", "-", None)
    deemed_factor_source: Title | None = quantity("document, edition and page", "-", None)
    deemed_hours: HoursAYear | None = quantity("the programme's hours of lighting in a year", "h", None)
    deemed_hours_source: Title | None = quantity("document, edition and page", "-", None)
    coincidence: Share | None = quantity(
        "the programme's share of a saving at the utility's peak", "-", None
    )
    coincidence_source: Title | None = quantity("document, edition and page", "-", None)


class Today(Part):
    """The lights that are there before the proposal."""

    luminaires: int = quantity("how many", "luminaires", ge=1, le=10_000_000)
    full_w: Positive = quantity("power of one, gear included", "W")
    hours_per_year: HoursAYear = quantity("hours in which they burn", "h")
    controls: Title = quantity("what controls them, in words", "-", "none")
    savings_factor: Share = quantity("share of the energy of these hours that the controls save", "-", 0.0)
    source: Title = quantity("where this stands: an audit and its date, a drawing, a count")
