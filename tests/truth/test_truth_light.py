"""Light and power of luminaires against IEC 62386-102, the lumen method and exact integrals of a fade."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from sim.lighting.dali import (
    FADE_RATES_PER_S,
    FADE_TIMES_S,
    command_of_light,
    light_of_command,
    light_of_level,
    nearest_level,
)
from sim.lighting.power import PowerCurve, light_share, power_curve
from sim.outcome.limit_group import power_density
from sim.scenario.tables.light import Luminaires, lumen_method_lux
from tests.truth.limit_scenes import SITE, USUAL

FADE_S = 90.51
"""The longest fade time of IEC 62386-102, code 15."""


def lamps(**changes: object) -> Luminaires:
    """One luminaire of 100 W."""
    return Luminaires.model_validate({"per_aisle": 1, "full_w": 100.0, **changes})


@pytest.mark.parametrize(
    ("level", "per_cent"),
    [
        (1, 0.100), (85, 0.991), (127, 3.12), (170, 10.09), (195, 19.97), (228, 49.17), (229, 50.53),
        (254, 100.0),
    ],
)
def test_dimming_curve(level: int, per_cent: float) -> None:
    """IEC 62386-102, standard dimming curve; check points to 0.01 %."""
    assert 100.0 * light_of_level(level) == pytest.approx(per_cent, abs=0.01)


def test_dimming_curve_with_whole_steps_a_decade_would_be_seen() -> None:
    """A known slip of programs: 253 // 3 = 84 steps a decade instead of 253 / 3."""
    spoiled = 10.0 ** ((254 - 1) / (253 // 3) - 3.0)
    assert 100.0 * spoiled != pytest.approx(100.0, abs=0.01)


@pytest.mark.parametrize(
    ("share", "level"), [(0.5, 229), (0.25, 203), (0.2, 195), (0.1, 170), (0.05, 144), (0.01, 85)]
)
def test_inverse_of_the_dimming_curve(share: float, level: int) -> None:
    """Rounded, not cut: half the light is level 229, though 228.6 is the exact place."""
    assert nearest_level(share) == level


def test_the_curve_and_its_inverse_undo_each_other() -> None:
    for share in (0.0, 0.0005, 0.001, 0.03, 0.5, 1.0):
        assert light_of_command(command_of_light(share)) == pytest.approx(share, rel=1e-12, abs=1e-15)


@pytest.mark.parametrize(("code", "seconds"), [(1, 0.707), (7, 5.657), (15, 90.51)])
def test_fade_times(code: int, seconds: float) -> None:
    """IEC 62386-102: sqrt(2^X) / 2."""
    assert FADE_TIMES_S[code - 1] == pytest.approx(seconds, abs=0.005)


@pytest.mark.parametrize(("code", "rate"), [(1, 357.8), (15, 2.80)])
def test_fade_rates(code: int, rate: float) -> None:
    """IEC 62386-102: 506 / sqrt(2^X) levels per second."""
    assert FADE_RATES_PER_S[code - 1] == pytest.approx(rate, abs=0.05)


def fade_wh(luminaires: Luminaires, start: float, end: float) -> float:
    """Energy of one fade of FADE_S [Wh]."""
    curve = power_curve(luminaires)
    watts = curve.mean_power(np.array([start]), np.array([end]))[0]
    return float(watts) * FADE_S / 3600.0


def test_energy_of_a_fade() -> None:
    """100 W from 100 to 20 %: straight 0.60, on the dimming curve (1 - d) / ln(1 / d) = 0.4971 of 100 W."""
    assert fade_wh(lamps(), 1.0, 0.2) == pytest.approx(0.60 * 100.0 * FADE_S / 3600.0, abs=5e-4)
    assert fade_wh(lamps(), 1.0, 0.2) == pytest.approx(1.508, abs=1e-3)
    curved = lamps(power_curve="iec62386-log")
    exact = 0.8 / math.log(5.0) * 100.0 * FADE_S / 3600.0
    assert fade_wh(curved, 1.0, command_of_light(0.2)) == pytest.approx(exact, rel=2e-4)
    assert fade_wh(curved, 1.0, command_of_light(0.2)) == pytest.approx(1.250, abs=1e-3)
    assert fade_wh(lamps(), 1.0, 0.2) != pytest.approx(1.250, abs=1e-3)


def test_energy_of_a_fade_against_quadrature() -> None:
    """SciPy integrates the curve itself, standby included; our table of 254 steps is good to 2e-4."""
    curved = lamps(power_curve="iec62386-log", standby_w=3.0)
    mean, _ = quad(lambda command: 3.0 + 97.0 * light_of_command(command), 0.3, 0.9, epsabs=1e-10)
    watts = power_curve(curved).mean_power(np.array([0.9]), np.array([0.3]))[0]
    assert watts == pytest.approx(mean / 0.6, rel=2e-4)


def test_mean_power_of_a_bent_curve_by_hand() -> None:
    """0, 100, 120 W at 0, 0.5, 1: a fade over all takes (50 + 110) / 2 = 80 W; steady light its own."""
    curve = PowerCurve(np.array([0.0, 0.5, 1.0]), np.array([0.0, 100.0, 120.0]))
    start, end = np.array([0.0, 1.0, 0.5, 0.25]), np.array([1.0, 0.0, 0.5, 0.25])
    assert curve.mean_power(start, end).tolist() == pytest.approx([80.0, 80.0, 100.0, 50.0])


@pytest.mark.parametrize("number", [1, 85, 170, 254])
def test_light_of_a_command_under_the_dimming_curve(number: int) -> None:
    """IEC 62386-102: level n gives 10 ** (3 (n - 1) / 253 - 1) per cent; without the curve, as told."""
    expected = 10.0 ** (3.0 * (number - 1) / 253.0 - 1.0) / 100.0
    level = number / 254.0
    assert light_share(lamps(power_curve="iec62386-log"), level) == pytest.approx(expected)
    assert light_share(lamps(), level) == level


def test_the_linear_preset_is_the_straight_line() -> None:
    plain, named = power_curve(lamps(standby_w=5.0)), power_curve(lamps(standby_w=5.0, power_curve="linear"))
    levels = np.linspace(0.0, 1.0, 11)
    assert plain.at(levels).tolist() == named.at(levels).tolist()


def test_a_driver_holds_its_least_level() -> None:
    """Least level 0.1, standby 2 W: below it 2 + 98 x 0.1 = 11.8 W; at 0 standby, with a relay nothing."""
    held = power_curve(lamps(standby_w=2.0, driver_min_level=0.1))
    assert held.at(np.array([0.05, 0.1])).tolist() == pytest.approx([11.8, 11.8])
    assert float(held.at(0.0)) == 2.0
    assert float(held.at(0.5)) == pytest.approx(51.0)
    cut = power_curve(lamps(standby_w=2.0, driver_min_level=0.1, relay_off=True))
    assert float(cut.at(0.0)) == 0.0
    assert float(cut.at(0.05)) == pytest.approx(11.8)
    assert (np.diff(cut.level) > 0.0).all(), "two rows at one level have no power between them"
    only_relay = power_curve(lamps(standby_w=2.0, relay_off=True))
    assert (float(only_relay.at(0.0)), float(only_relay.at(0.5))) == (0.0, pytest.approx(51.0))
    assert light_share(lamps(driver_min_level=0.1), 0.05) == 0.1
    assert light_share(lamps(driver_min_level=0.1), 0.0) == 0.0


def test_standby_over_a_year() -> None:
    """60 luminaires at 0.5 W for 8760 h are 262.8 kWh, at level 0 too (EU 2019/2020: 0.5 W)."""
    curve = power_curve(lamps(per_aisle=60, standby_w=0.5))
    kwh = 60 * float(curve.at(0.0)) * 8760.0 / 1000.0
    assert kwh == pytest.approx(262.8)
    # on 100 m2 that is 0.3 W/m2: 2.628 kWh/m2 a year (default of the UK calculation method, NCM)
    assert kwh / 100.0 == pytest.approx(2.628)
    relay = power_curve(lamps(per_aisle=60, standby_w=0.5, relay_off=True))
    assert float(relay.at(0.0)) == 0.0


@pytest.mark.parametrize(
    ("footcandles", "lm_per_w", "utilisation", "w_per_ft2"),
    [(22.0, 118.0, 0.81, 0.2302), (33.0, 118.0, 0.59, 0.4740), (22.0, 152.0, 0.81, 0.1787)],
)
def test_power_density_of_a_design_by_the_lumen_method(
    footcandles: float, lm_per_w: float, utilisation: float, w_per_ft2: float
) -> None:
    """LPD = fc / (efficacy x CU), ComStock reference documentation: the area that just gets the light."""
    lumens, area_ft2 = 100.0 * lm_per_w, 100.0 * lm_per_w * utilisation / footcandles
    area_m2 = area_ft2 * 0.3048**2
    design = lamps(lumens=lumens, utilisation=utilisation, light_loss=1.0)
    assert lumen_method_lux(design, area_m2) == pytest.approx(footcandles / 0.3048**2)
    assert power_density(design, area_m2) == pytest.approx(w_per_ft2, abs=5e-5)
    assert power_density(design, 1.1 * area_m2) != pytest.approx(w_per_ft2, abs=5e-5)


def test_the_lumen_method_fills_in_the_light_of_each_aisle() -> None:
    """10 x 20 000 lm x 0.6 x 0.8 / (60 m x 5 m) = 320 lx; a wider aisle gets less, a stated value decides."""
    from sim.scenario.toml import parse_scenario

    given = "lumens = 20000.0\nutilisation = 0.6\nlight_loss = 0.8\n"
    text = SITE.format(limits='"HSG38"', **{**USUAL, "lamps": given, "pitch_m": "[5.0, 10.0, 5.0]"})
    site = parse_scenario(text)
    assert [site.luminaires_of(name).floor_lux_at_full for name in site.aisle_names] == pytest.approx(
        [320.0, 160.0, 320.0]
    )
    stated = parse_scenario(SITE.format(
        limits='"HSG38"', **{**USUAL, "lamps": given + "floor_lux_at_full = 300.0"}
    ))
    assert stated.luminaires_of("A01").floor_lux_at_full == 300.0
