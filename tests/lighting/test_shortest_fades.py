"""Fades that take next to no time are jumps, and no number overflows on the way."""

from __future__ import annotations

import datetime as dt
import warnings
from dataclasses import replace

import numpy as np
import pytest

from sim.lighting.power import PowerCurve
from sim.lighting.replay import command_zone, run_fades
from sim.lighting.timetable import Program
from sim.outcome.account import keep_books
from sim.outcome.clock import cut_run

END_S = 9000.0


def program(fade_s: float) -> Program:
    """High for 60 s after motion, at 1 or 0.3; up in half the time."""
    return Program(
        border=np.array([0.0, END_S]), names=("day",), delay_s=np.array([60.0]), second_s=np.array([np.inf]),
        occupied=np.array([1.0]), unoccupied=np.array([0.3]), second=np.array([0.3]),
        fade_up_s=np.array([0.5 * fade_s]), fade_down_s=np.array([fade_s]), latency_s=0.5,
    )


def energy_kwh(fade_s: float) -> float:
    """Ten luminaires of 100 W over 9000 s, high from 100.5 to 170 s and from 5000.5 to 5100 s."""
    chosen = program(fade_s)
    commands = command_zone(np.array([100.0, 5000.0]), np.array([110.0, 5040.0]), chosen)
    curve = PowerCurve(np.array([0.0, 1.0]), np.array([0.0, 100.0]))
    bins = cut_run(dt.datetime(2027, 3, 1), END_S)
    books = keep_books(commands, run_fades(commands, chosen), None, curve, 10, 0, bins)
    return float(books.hours["energy_kwh"].sum())


@pytest.mark.parametrize("fade_s", [0.0, 1e-320, 1e-307, 1e-100, 1e-9])
def test_a_fade_of_no_time_is_a_jump(fade_s: float) -> None:
    """1000 W for 69.5 + 99.5 s, 300 W for the rest of 9000 s."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = energy_kwh(fade_s)
    assert found == pytest.approx((1000.0 * 169.0 + 300.0 * (END_S - 169.0)) / 3.6e6, rel=1e-12)
    assert energy_kwh(10.0) != pytest.approx(found, rel=1e-6)


def test_levels_of_a_jump() -> None:
    """Each piece lies at one level, and the next one begins where it ends."""
    chosen = program(1e-307)
    commands = command_zone(np.array([100.0]), np.array([110.0]), chosen)
    levels = run_fades(commands, chosen)
    assert levels.start.tolist() == [0.0, 100.5, 170.0]
    assert levels.end.tolist() == [100.5, 170.0, END_S]
    assert levels.start_level.tolist() == [0.3, 1.0, 0.3]


def test_a_short_fade_on_its_way() -> None:
    """Up in 0.4 s from 0.3 to 1, from 100.5 s on; a border 0.1 s later finds a quarter of the way done."""
    plain = program(0.8)
    cut = replace(
        plain, border=np.array([0.0, 100.6, END_S]), names=("a", "b"), occupied=np.array([1.0, 0.9]),
        **{
            name: np.repeat(getattr(plain, name), 2)
            for name in ("delay_s", "second_s", "unoccupied", "second", "fade_up_s", "fade_down_s")
        },
    )
    levels = run_fades(command_zone(np.array([100.0]), np.array([110.0]), cut), cut)
    assert levels.start.tolist() == pytest.approx([0.0, 100.5, 100.6, 101.0, 170.0, 170.8])
    assert levels.start_level.tolist() == pytest.approx([0.3, 0.3, 0.475, 0.9, 0.9, 0.3])
    assert levels.end_level.tolist() == pytest.approx([0.3, 0.475, 0.9, 0.9, 0.3, 0.3])
