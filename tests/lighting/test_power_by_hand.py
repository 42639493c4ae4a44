"""Power curves row by row, and the mean power of a fade against an integral in small steps.

The rows are worked by hand: P(d) = standby + (full - standby) d, held below a driver's least level, nothing
at level 0 with a relay; under the dimming curve of IEC 62386-102 command n has 10 ** (3 (n - 1) / 253 - 3)
of the light.  A jump at level 0 is a row so near to it that no setting stops between (1e-9).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.lighting.power import PowerCurve, light_share, power_curve
from sim.scenario.tables.light import Luminaires

NEAR = 1e-9
LOG = [(number / 254.0, 2.0 + 98.0 * 10.0 ** (3.0 * (number - 1) / 253.0 - 3.0)) for number in range(1, 255)]
TABLE = [[0.0, 4.0], [0.2, 30.0], [0.6, 90.0], [1.0, 120.0]]
BENT = {"power_curve": TABLE, "full_w": 120.0, "standby_w": 4.0}


def lamps(**changes: Any) -> Luminaires:
    """One luminaire of 100 W with 2 W standby."""
    return Luminaires.model_validate({"per_aisle": 1, "full_w": 100.0, "standby_w": 2.0, **changes})


@pytest.mark.parametrize(
    ("changes", "rows"),
    [
        ({}, [(0.0, 2.0), (1.0, 100.0)]),
        ({"power_curve": "linear"}, [(0.0, 2.0), (1.0, 100.0)]),
        ({"power_curve": "iec62386-log"}, [(0.0, 2.0), *LOG]),
        ({"driver_min_level": 0.1}, [(0.0, 2.0), (NEAR, 11.8), (0.1, 11.8), (1.0, 100.0)]),
        ({"driver_min_level": 1.0}, [(0.0, 2.0), (NEAR, 100.0), (1.0, 100.0)]),
        (
            {"driver_min_level": NEAR},
            [(0.0, 2.0), (NEAR / 2.0, 2.0 + 98e-9), (NEAR, 2.0 + 98e-9), (1.0, 100.0)],
        ),
        ({"relay_off": True}, [(0.0, 0.0), (NEAR, 2.0), (1.0, 100.0)]),
        (
            {"driver_min_level": 0.5, "relay_off": True},
            [(0.0, 0.0), (NEAR, 51.0), (0.5, 51.0), (1.0, 100.0)],
        ),
        (BENT, [(0.0, 4.0), (0.2, 30.0), (0.6, 90.0), (1.0, 120.0)]),
        (
            {**BENT, "driver_min_level": 0.2},
            [(0.0, 4.0), (NEAR, 30.0), (0.2, 30.0), (0.6, 90.0), (1.0, 120.0)],
        ),
        (
            {**BENT, "driver_min_level": 0.4, "relay_off": True},
            [(0.0, 0.0), (NEAR, 60.0), (0.4, 60.0), (0.6, 90.0), (1.0, 120.0)],
        ),
        (
            {**BENT, "relay_off": True},
            [(0.0, 0.0), (NEAR, 4.0), (0.2, 30.0), (0.6, 90.0), (1.0, 120.0)],
        ),
    ],
)
def test_rows_by_hand(changes: dict[str, Any], rows: list[tuple[float, float]]) -> None:
    curve = power_curve(lamps(**changes))
    assert curve.level.tolist() == pytest.approx([level for level, _ in rows], rel=1e-12)
    assert curve.watts.tolist() == pytest.approx([watts for _, watts in rows], rel=1e-12)
    assert curve.full_w == rows[-1][1]
    other = power_curve(lamps(**{**changes, "relay_off": not changes.get("relay_off", False)}))
    assert other.watts[0] != curve.watts[0]


@pytest.mark.parametrize("rows", [TABLE, [[0.0, 5.0], [1.0, 120.0]], [[0.0, 0.0], [0.5, 99.0], [1.0, 100.0]]])
def test_mean_power_in_small_steps(rows: list[list[float]]) -> None:
    """The mean over 20 000 midpoints of the way, up, down and standing, from row to row and across.

    Midpoints are exact on straight pieces; a bend by 200 W costs at most 200 x step ** 2 / 8, 1e-7 W of 4 W.
    """
    curve = PowerCurve(np.array(rows)[:, 0], np.array(rows)[:, 1])
    stops = (0.0, 0.1, 0.2, 0.45, 0.6, 0.9, 1.0)
    start, end = (np.array(ends) for ends in zip(*((a, b) for a in stops for b in stops), strict=True))
    share = (np.arange(20_000) + 0.5) / 20_000
    table = np.array(rows).T
    steps = [np.interp(a + (b - a) * share, *table).mean() for a, b in zip(start, end, strict=True)]
    found = curve.mean_power(start, end)
    assert found.shape == start.shape
    assert found.tolist() == pytest.approx(steps, rel=1e-6)
    assert curve.mean_power(start, np.minimum(end + 0.05, 1.0)).tolist() != pytest.approx(steps, rel=1e-6)


@pytest.mark.parametrize(
    ("changes", "level", "light"),
    [
        ({}, 0.3, 0.3), ({}, 0.0, 0.0), ({}, 1.0, 1.0),
        ({"driver_min_level": 0.1}, 0.05, 0.1), ({"driver_min_level": 0.1}, 0.1, 0.1),
        ({"driver_min_level": 0.1}, 0.2, 0.2), ({"driver_min_level": 0.1}, 0.0, 0.0),
        (BENT, 0.3, 0.3),
        ({"power_curve": "iec62386-log"}, 170 / 254, 10.0 ** (3.0 * 169.0 / 253.0 - 3.0)),
        (
            {"power_curve": "iec62386-log", "driver_min_level": 170 / 254}, 0.1,
            10.0 ** (3.0 * 169.0 / 253.0 - 3.0),
        ),
        ({"power_curve": "iec62386-log"}, 0.0, 0.0),
    ],
)
def test_light_by_hand(changes: dict[str, Any], level: float, light: float) -> None:
    """A driver holds its least level while it is on; the curve applies to what it holds."""
    assert light_share(lamps(**changes), level) == pytest.approx(light, rel=1e-12)
    assert light_share(lamps(**changes), 0.9) != pytest.approx(light, rel=1e-12)
