"""The program's replay against the slow twin: every outcome, on random sites, detections and visits.

Counts must agree exactly, sums to 1e-9 of their size. Negative controls spoil the scenario on one side, or
one line of the twin: the same comparison must find each of them among the same examples.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import HealthCheck, Phase, find, given, settings
from hypothesis import strategies as st

from sim.outcome.names import OUTCOMES
from sim.scenario.schema import Scenario, Settings
from tests import naive, naive_commands
from tests.lighting import engines
from tests.lighting.engines import Answer, by_program, by_twin
from tests.lighting.strategies import Example, examples

COUNTS = ("dim_entries", "false_offs", "switch_ups", "switch_downs", "timetable_changes", "visits")
EITHER = st.booleans().flatmap(examples)
CHECKS = list(HealthCheck)
QUICK = settings(max_examples=500, deadline=None, suppress_health_check=CHECKS, derandomize=True)
LONG = settings(max_examples=5000, deadline=None, suppress_health_check=CHECKS)
SEARCH = settings(max_examples=5000, deadline=None, suppress_health_check=CHECKS, derandomize=True,
                  database=None, phases=(Phase.generate,))


def differences(twin: Answer, program: Answer) -> Iterator[str]:
    """Say where two answers differ."""
    assert twin.zones.keys() == program.zones.keys()
    assert len(twin.hours) == len(program.hours)
    assert len(twin.quarter_kw) == len(program.quarter_kw)
    rows = [("total", twin.total, program.total)]
    rows += [(f"zone {name}", twin.zones[name], program.zones[name]) for name in twin.zones]
    rows += [(f"hour {k}", *pair) for k, pair in enumerate(zip(twin.hours, program.hours, strict=True))]
    for place, ours, theirs in rows:
        assert ours.keys() == theirs.keys() == OUTCOMES.keys()
        for name, value in ours.items():
            if not agrees(name, value, theirs[name]):
                yield f"{place} {name}: twin {value}, program {theirs[name]}"
    for k, (ours_kw, theirs_kw) in enumerate(zip(twin.quarter_kw, program.quarter_kw, strict=True)):
        if not math.isclose(ours_kw, theirs_kw, rel_tol=1e-9, abs_tol=1e-9):
            yield f"quarter {k}: twin {ours_kw} kW, program {theirs_kw} kW"


def agrees(name: str, ours: float | None, theirs: float | None) -> bool:
    """Compare one outcome: counts exactly, seconds to a microsecond, all else to 1e-9."""
    if ours is None or theirs is None or name in COUNTS:
        return ours == theirs
    return math.isclose(ours, theirs, rel_tol=1e-9, abs_tol=1e-6 if OUTCOMES[name].unit == "s" else 1e-9)


def compare(one: Example, spoil: Callable[[Scenario], Scenario] = lambda same: same) -> list[str]:
    """Replay one example both ways, the twin perhaps on a spoilt scenario."""
    twin = by_twin(spoil(one.scenario), one.motion, one.visits, one.stays)
    return list(differences(twin, by_program(one.scenario, one.motion, one.visits, one.stays)))


@given(examples(is_grid=True))
@QUICK
def test_every_outcome_where_instants_coincide(one: Example) -> None:
    assert compare(one) == []


@given(examples(is_grid=False))
@QUICK
def test_every_outcome_at_arbitrary_instants(one: Example) -> None:
    assert compare(one) == []


@given(examples(is_grid=True, lengths_d=(1.5, 8.25)))
@settings(QUICK, max_examples=25)
def test_every_outcome_over_days_and_weeks(one: Example) -> None:
    assert compare(one) == []


@pytest.mark.slow
@given(EITHER)
@LONG
def test_every_outcome_many_times(one: Example) -> None:
    assert compare(one) == []


def change_settings(change: Callable[[Settings], dict[str, float]]) -> Callable[[Scenario], Scenario]:
    """Return a function that changes every set of settings of a scenario."""

    def spoil(scenario: Scenario) -> Scenario:
        changed = {
            name: one.model_copy(update=change(one)) for name, one in scenario.lighting.settings.items()
        }
        lighting = scenario.lighting.model_copy(update={"settings": changed})
        return scenario.model_copy(update={"lighting": lighting})

    return spoil


SPOILT_SETTINGS = {
    "timeout": lambda one: {"timeout_s": one.timeout_s + 1e-3},
    "levels swapped": lambda one: {
        "occupied_level": one.unoccupied_level, "unoccupied_level": one.occupied_level
    },
    "fade-down": lambda one: {"fade_down_s": one.fade_down_s * 1.001},
    "fade-up": lambda one: {"fade_up_s": one.fade_up_s * 1.001},
}


@pytest.mark.parametrize("name", SPOILT_SETTINGS)
def test_spoilt_settings_are_found(name: str) -> None:
    """Negative control: a twin that works with other settings disagrees."""
    spoil = change_settings(SPOILT_SETTINGS[name])
    find(examples(is_grid=True), lambda one: bool(compare(one, spoil)), settings=SEARCH)


SPOILT_COMMANDS = {
    "open hold": ("return age <= delay", "return age < delay"),
    "no hold": ("hold + chosen.timeout_s", "chosen.timeout_s"),
    "starts unoccupied": ("self.at_second = periods[0].second_delay is not None", "self.at_second = False"),
    "latency from the end": ("= start + self.latency, end", "= end + self.latency, end"),
    "a border brings the switch-up forward": ("self.due is None and age is not None", "age is not None"),
    "motion at a border waits although held": (
        "elif self.motion_end is not None and is_held", "elif self.is_high and is_held"),
    "the age runs on from the start": (
        "self.motion_end, self.due = self.due_end", "self.motion_end, self.due = self.due"),
    "closed hold at a border": ("and age < period.delay\n", "and age <= period.delay\n"),
    "closed second delay at a border": (
        "age >= period.delay + period.second_delay", "age > period.delay + period.second_delay"),
    "a switch-up at a border": (
        'self._command(border, "border")', 'self._command(border, "up" if motion else "border")'),
    "equal neighbours make a border": ("if period.values() == last.values():", "if False:"),
    "fade time by size": ("done = turn.time + fade\n", "done = turn.time + fade * abs(turn.level - level)\n"),
    "fades begin anew": ("if command.level != turns[-1].level:", "if True:"),
    "fades begin at the old target": ("level = whole.at(until)", "level = turn.level"),
    "direction by command": ("if turn.level > level:", "if turn.level >= 0.5:"),
    "the old period's fades": (
        "following is None else following.time\n",
        "following is None else following.time\n        turn = Command(turn.time, turn.state, turn.level, "
        "turn.cause, commands[max(0, commands.index(turn) - 1)].period)\n"),
}
SPOILT_SUMS = {
    "code minimum": ("CODE_DELAY = 1200.0", "CODE_DELAY = 1199.0"),
    "lit empty": ('elif command.state == "high":', 'if command.state == "high":'),
    "closed stays": ("if any(enter <= command.time < leave", "if any(enter <= command.time <= leave"),
    "open stays": ("if any(enter <= command.time < leave", "if any(enter < command.time < leave"),
    "fixed-on dims": ("(fixed if is_fixed else homes)[home] += 1", "homes[home] += 1"),
    "luminaire on a cut": (
        "home = ((2 * lamp + 1) * cut) //", "home = ((2 * lamp + 1) * cut - 1) //"),
    "changes by state": ("before.level != command.level", "before.state != command.state"),
    "spells cut at pieces": ("if joined and start <= joined[-1][1]:", "if False:"),
}


def spoilt_copy(module: ModuleType, old: str, new: str) -> ModuleType:
    """Load a module anew with one piece of its text replaced."""
    text = Path(module.__file__ or "").read_text(encoding="utf-8")
    assert text.count(old) == 1, old
    copy = ModuleType(module.__name__)
    exec(compile(text.replace(old, new), module.__name__, "exec"), copy.__dict__)
    return copy


@pytest.mark.parametrize("name", SPOILT_COMMANDS)
def test_spoilt_commands_are_found(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Negative control: a twin with one rule of switching or fading broken disagrees."""
    monkeypatch.setattr(naive, "twin", spoilt_copy(naive_commands, *SPOILT_COMMANDS[name]))
    find(examples(is_grid=True), lambda one: bool(compare(one)), settings=SEARCH)


@pytest.mark.parametrize("name", SPOILT_SUMS)
def test_spoilt_sums_are_found(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Negative control: a twin with one rule of summing broken disagrees."""
    monkeypatch.setattr(engines, "naive_replay", spoilt_copy(naive, *SPOILT_SUMS[name]).naive_replay)
    find(examples(is_grid=True), lambda one: bool(compare(one)), settings=SEARCH)
