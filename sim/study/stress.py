"""The same site with more or less traffic, skew, handling time or speed: what is not known about it.

Comes in: a scenario and a factor.  Goes out: a changed scenario.  Before: `scenario`; after:
`study/decide/trial` (recommendations are tried on these), `study/sensitivity`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sim.scenario.schema import Scenario
from sim.scenario.tables.traffic import Inbound, Outbound, Placing, Work
from sim.traffic.work import aisle_shares

__all__ = ["FACTORS", "STRESSES", "Stress", "scale"]


_FEW_PALLETS = 10
"""Below this many, a share of a trailer's pallets is too far from a whole number."""


def _scaled_rate(rate: float | tuple[float, ...], factor: float) -> float | tuple[float, ...]:
    """Scale one number or 24."""
    return tuple(factor * one for one in rate) if isinstance(rate, tuple) else factor * rate


def _volume(scenario: Scenario, factor: float) -> Scenario:
    """Scale the moves an hour of every stream of work, people in areas, and the pallets on every trailer.

    A trailer keeps at least one pallet.  Trailers at random with few pallets are scaled by their number
    instead: 0.7 of one pallet is none.
    """
    areas = scenario.area and tuple(
        area.model_copy(update={"people_per_hour": _scaled_rate(area.people_per_hour, factor)})
        for area in scenario.area
    )

    def scaled(stream: Work | Inbound | Outbound) -> Work | Inbound | Outbound:
        rate = None if isinstance(stream, Outbound) else stream.per_hour
        if isinstance(stream, Work) or (rate is not None and stream.pallets < _FEW_PALLETS):
            assert rate is not None
            return stream.model_copy(update={"per_hour": _scaled_rate(rate, factor)})
        return stream.model_copy(update={"pallets": max(1, round(factor * stream.pallets))})

    return scenario.model_copy(
        update={
            "area": areas,
            **{
                name: tuple(scaled(stream) for stream in getattr(scenario, name))
                for name in ("work", "inbound", "outbound")
            },
        }
    )


def _skew(scenario: Scenario, factor: float) -> Scenario:
    """Raise every aisle's share of the moves to a power and bring the sum back to 1: 1.3 is more unequal."""
    count = len(scenario.aisle_names)

    def scaled(stream: Placing) -> Placing:
        shares = aisle_shares(stream, count) ** factor
        shares = shares / shares.sum()
        update = {"aisle_shares": tuple(shares.tolist()), "aisle_skew": None, "top_20pct_share": None}
        return stream.model_copy(update=update)

    return scenario.model_copy(
        update={
            name: tuple(scaled(stream) for stream in getattr(scenario, name))
            for name in ("work", "inbound", "outbound")
        }
    )


def _handling(scenario: Scenario, factor: float) -> Scenario:
    """Scale the mean handling time of every truck group; its spread relative to the mean stays."""
    trucks = tuple(
        group.model_copy(update={"handling_mean_s": factor * group.handling_mean_s})
        for group in scenario.trucks
    )
    return scenario.model_copy(update={"trucks": trucks})


def _speed(scenario: Scenario, factor: float) -> Scenario:
    """Scale both travel speeds of every truck group."""
    trucks = tuple(
        group.model_copy(
            update={
                "speed_laden_m_per_s": factor * group.speed_laden_m_per_s,
                "speed_empty_m_per_s": factor * group.speed_empty_m_per_s,
            }
        )
        for group in scenario.trucks
    )
    return scenario.model_copy(update={"trucks": trucks})


FACTORS: dict[str, Callable[[Scenario, float], Scenario]] = {
    "volume": _volume,
    "skew": _skew,
    "handling": _handling,
    "speed": _speed,
}
"""What can be scaled by name: moves an hour, inequality of the aisles, handling time, travel speeds."""


def scale(scenario: Scenario, name: str, factor: float) -> Scenario:
    """Return a scenario with one input scaled.

    Parameters
    ----------
    scenario : the site
    name : a key of `FACTORS`
    factor : above 0; 1 changes nothing but the form (a skew becomes a table of shares)
    """
    return FACTORS[name](scenario, factor)


@dataclass(frozen=True)
class Stress:
    """One way in which the site may differ from what was stated.

    Attributes
    ----------
    label : for people
    name : what is scaled, "" for the site as stated
    factor : by how much
    """

    label: str
    name: str = ""
    factor: float = 1.0

    def apply(self, scenario: Scenario) -> Scenario:
        """Return the changed scenario."""
        return scale(scenario, self.name, self.factor) if self.name else scenario


STRESSES: tuple[Stress, ...] = (
    Stress("as stated"),
    *(
        Stress(f"{name} {'+' if factor > 1.0 else '-'}30 %", name, factor)
        for name in ("volume", "skew", "handling")
        for factor in (0.7, 1.3)
    ),
)
"""A recommendation is tried on all of these."""
