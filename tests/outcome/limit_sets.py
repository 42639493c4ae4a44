"""Rows of numeric limits as one writes them down by hand, and their comparison with the program's.

Site: three aisles of 60 m x 5 m with ten luminaires of 100 W; one square foot is 0.3048 m x 0.3048 m.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any

import pytest

from sim.outcome.limit_group import LimitRow
from tests.truth.limit_scenes import rows_of

PUBLIC, MEMORY = "seen in a public copy", "from memory"
BOTH = "seen in a public copy, in part from memory"
SQUARE_FEET = 300.0 / 0.3048**2
DENSITY = 1000.0 / SQUARE_FEET
OVER = "3.33 W/m2 over length times pitch"
BULKY, SMALL = "medium to bulky palletised goods", "small hand-carried goods"
NO_GOODS = "; state statements.goods"
ALONE = "the aisles alone, other rooms are not counted"


@dataclass(frozen=True)
class Set:
    """What the rows of one rule set share."""

    rule: str
    source: str = ""
    seen: str = PUBLIC
    aisles: tuple[str, ...] = ("A01", "A02", "A03")

    def row(
        self, what: str, value: float | None, unit: str, *, least: float | None = None,
        most: float | None = None, met: bool | None = None, period: str = "all", judged: bool = True,
        remark: str = "", **more: Any,
    ) -> LimitRow:
        """One row; a number is compared to the digits of a division."""
        made = LimitRow(
            self.rule, self.aisles, period, what, None if value is None else pytest.approx(value), unit,
            None if least is None else pytest.approx(least), most, met, self.source, self.seen, remark,
            judged,
        )
        return replace(made, **more)

    def spaces(self, bulky: float, small: float, source: str) -> list[LimitRow]:
        """Both numbers of power density space by space, where nobody says which goods."""
        what = "lighting power density, space by space"
        words = {"period": "", "source": source, "seen": PUBLIC}
        return [
            self.row(what, DENSITY, "W/ft2", most=most, remark=f"{kind}; {OVER}{NO_GOODS}", **words)
            for most, kind in ((bulky, BULKY), (small, SMALL))
        ]

    def building(self, most: float, source: str) -> LimitRow:
        """The number by building area, where it does not decide."""
        return self.row(
            "lighting power density, building area", DENSITY, "W/ft2", most=most, period="", judged=False,
            source=source, seen=PUBLIC,
            remark=f"warehouse, building area method; {OVER}; {ALONE}"
            '; judged with statements.lpd_method = "building area"',
        )

    def cut(self, value: float, least: float, met: bool, **more: Any) -> LimitRow:
        """Cut of power."""
        what = "cut of power at the unoccupied level"
        return self.row(what, value, "share", least=least, met=met, **more)

    def delay(self, most: float, met: bool, **more: Any) -> LimitRow:
        """Hold and timeout, 60 s and 540 s."""
        return self.row("hold and timeout together", 600.0, "s", most=most, met=met, **more)

    def said(self, what: str, remark: str, met: bool | None = None, **more: Any) -> LimitRow:
        """A fact that only the site can state."""
        return self.row(what, None, "-", period="", met=met, remark=remark, **{"seen": PUBLIC, **more})


ARRIVAL = Set("arrival", "speed x (latency + fade-up)", "computed").row(
    "driven from being seen to full light", 2.0 * (0.5 + 1.5), "m",
    remark="at 2 m/s, the fastest truck; no document sets a number",
)
UNSAID = "not stated: statements."
ITSELF, HAND, BESIDES = "each aisle by itself", "switching by hand", "scheduled or full shut-off besides"
OWN_ZONE = "; as modelled each sensor serves its own zone alone"
NEVER = "; level 0 is never reached"


def elsewhere(keys: dict[str, Any]) -> dict[str, Any]:
    """Return another site: each number that a limit looks at is a little greater, near 1 a little less."""

    def more(match: re.Match[str]) -> str:
        value = float(match[0])
        return repr(0.98 * value if 0.9 < value <= 1.0 else 1.02 * value + 0.001)

    return keys | {
        "hold_s": 61.0, "latency_s": 0.6, "full_w": 101.0, "length_m": 61.0,
        "low": re.sub(r"^[\d.]+", more, str(keys.get("low", 0.5))),
        "lamps": re.sub(r"(?<== )[\d.]+", more, keys.get("lamps", "")),
    }


def check(rule: str, expected: list[LimitRow], **changes: Any) -> None:
    """Compare all rows; then, as a negative control, no row with a number may be that of another site."""
    keys = {"hold_s": 60.0, "timeout_s": 540.0, "latency_s": 0.5, "fade_up_s": 1.5, **changes}
    found = rows_of(rule, **keys)
    assert [row.what for row in found] == [row.what for row in expected]
    for ours, theirs in zip(found, expected, strict=True):
        assert ours == theirs
    others = rows_of(rule, **elsewhere(keys))
    assert [row.what for row in expected if row.value is not None and row in others] == []
