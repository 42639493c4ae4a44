"""The handover of a site: every sheet that goes to whoever sets the controller up, as plain words.

Comes in: a scenario, its step-in schedule.  Goes out: `Handover`.  Before: `show/handover/lists`,
`show/handover/words`, `show/handover/tests`, `study/step_in`; after: `show/folders/handover`.  Nothing is
sent to a controller, and nothing here is a permit document.
"""

from __future__ import annotations

from dataclasses import dataclass

from sim.floor.layout import lay_out
from sim.provenance import content_hash
from sim.results import Estimate
from sim.scenario.schema import Scenario
from sim.show.folders.whole import number_text
from sim.show.handover.cover import cover_answers, cover_table
from sim.show.handover.limits import limits_sheet, numeric_rows
from sim.show.handover.lists import Sheet, circuit_sheet, sensor_sheet, settings_sheet, zone_sheet
from sim.show.handover.tests import FunctionalTest, plan_tests
from sim.show.handover.words import Period, always_rules, operation_periods
from sim.show.words.amounts import count_of, digits, duration, percent_interval, plain
from sim.show.words.sections import Section
from sim.study.step_in import SHIFT_H, Step, StepIn

__all__ = ["NOT_A_PERMIT", "Handover", "State", "build_handover"]

NOT_A_PERMIT = "Not a permit document. Nothing was sent to a controller."
_HASH_SHOWN = 12
_MOST_COLUMNS, _MOST_LETTERS = 6, 40
"""So many columns of timeouts, with names so long in all, fit the width of a sheet."""


@dataclass(frozen=True)
class State:
    """What the lights must do when something fails.

    Attributes
    ----------
    event : what happens
    required : the state that this handover asks for
    stated : what the scenario states about it
    test : how to see it
    """

    event: str
    required: str
    stated: str
    test: str


@dataclass(frozen=True)
class Handover:
    """Every sheet.

    Attributes
    ----------
    title : of the site
    settings_from : where the settings come from, in words
    scenario_hash : sha256 of the resolved scenario with these settings
    answers, brief : of the first page: questions with answers, the settings in short
    periods, rules : the sequence of operations
    lists : settings, zones, sensors, circuits, numeric limits
    test : the functional test
    steps : step-in schedule on a page and in its file
    states : on network loss, power return, fire alarm
    """

    title: str
    settings_from: str
    scenario_hash: str
    answers: tuple[tuple[str, str], ...]
    brief: Section
    periods: tuple[Period, ...]
    rules: tuple[str, ...]
    lists: tuple[Sheet, ...]
    test: FunctionalTest
    steps: Sheet
    states: tuple[State, ...]

    @property
    def short_hash(self) -> str:
        """The beginning of the hash, as it stands on every sheet."""
        return self.scenario_hash[:_HASH_SHOWN]


def build_handover(scenario: Scenario, step_in: StepIn, *, settings_from: str, share: float) -> Handover:
    """Return every sheet of a site.

    Parameters
    ----------
    scenario : with the settings to hand over
    step_in : its schedule
    settings_from : where the settings come from, in words
    share : of each kind of aisles that is tested, 0 to 1
    """
    layout, found = lay_out(scenario), content_hash(scenario.content())
    return Handover(
        title=scenario.title,
        settings_from=settings_from,
        scenario_hash=found,
        answers=cover_answers(scenario, step_in, numeric_rows(scenario), settings_from),
        brief=cover_table(scenario),
        periods=operation_periods(scenario),
        rules=always_rules(scenario),
        lists=(
            settings_sheet(scenario, layout), zone_sheet(scenario, layout), sensor_sheet(layout),
            circuit_sheet(scenario), limits_sheet(scenario, layout),
        ),
        test=plan_tests(scenario, layout, share, int(found[:_HASH_SHOWN], 16)),
        steps=_step_sheet(scenario, step_in),
        states=_states(scenario),
    )


def _states(scenario: Scenario) -> tuple[State, ...]:
    """Full light whenever something fails."""
    said = scenario.statements

    def stated(key: str) -> str:
        answer = None if said is None else getattr(said, key)
        return "not stated" if answer is None else "stated: full" if answer else "stated: not full"

    return (
        State(
            "Network or gateway lost", "full light in every zone, until the network is back",
            stated("fails_to_full"), "Cut the network with the aisles low; time it.",
        ),
        State(
            "Power lost and back", "full light when the power returns, then as programmed",
            stated("power_return_to_full"), "Open the breaker for a minute with the aisles low; close it.",
        ),
        State(
            "Fire alarm", "full light in every zone, until the alarm is reset",
            stated("fire_alarm_to_full"), "With whoever owns the alarm: raise it with the aisles low.",
        ),
    )


def _names_in_use(scenario: Scenario) -> list[str]:
    """Names of settings that hold somewhere at some time."""
    held = [scenario.settings_of(home) for home in scenario.lit_names]
    used = [chosen[name] for chosen in held for name in scenario.names_in_force]
    named = scenario.lighting.settings.items()
    return [name for name, settings in named if any(settings is one for one in used)]


def _step_sheet(scenario: Scenario, step_in: StepIn) -> Sheet:
    """The step-in schedule."""
    names = _names_in_use(scenario)
    last = step_in.steps[-1]
    is_wide = len(names) > _MOST_COLUMNS or sum(map(len, names)) > _MOST_LETTERS
    rows = tuple(
        (
            str(step.week),
            *([_span(step, names)] if is_wide else [duration(step.timeout_s[name]) for name in names]),
            _rate(step.false_offs), _worst(step), percent_interval(step.saved_share),
        )
        for step in step_in.steps
    )
    per = "in which a shift works" if step_in.is_staffed else "of the run, since no shifts are known"
    remarks = [
        "Timeouts of the controller; hold stays as listed. Begin long, shorten week by week, and go on only "
        "when drivers agree: common practice, no source. The first week's hold and timeout together are by "
        "default 20 min, the longest that energy codes allow in storage aisles.",
        "False-offs are times when the light goes down on a truck that is still in the aisle, on the whole "
        f"site, in {plain(SHIFT_H)} hours {per}; means of "
        f"{count_of(step_in.replications, 'simulated replication')} with their 95 % intervals. Ask drivers "
        "to count them. Clearly more than expected: stay at this step and look for a sensor that is masked "
        "or badly aimed.",
        "Saved is energy over always on, by simulation: what each further step is worth.",
    ]
    if is_wide:
        remarks.append(f"{count_of(len(names), 'set')} of settings: the timeout of each is in step_in.csv.")
    if last.false_offs.mean is None:
        remarks.append("No visits are known, so that false-offs cannot be expected.")
    if all(step.timeout_s == last.timeout_s for step in step_in.steps):
        remarks.append("The settings are as long as the first week's already: there is nothing to shorten.")
    return Sheet(
        name="step_in",
        title="Step-in schedule",
        header=(
            "Week",
            *(["Timeouts"] if is_wide else [f"Timeout, {name}" for name in names]),
            "False-offs a shift", "Most in one aisle", "Saved",
        ),
        rows=rows,
        csv_header=("week", "settings", "timeout_s", "false_offs_per_shift", "half_width", "saved_share"),
        csv_rows=tuple(
            (
                str(step.week), name, number_text(step.timeout_s[name]), _number(step.false_offs.mean),
                _number(step.false_offs.half_width), _number(step.saved_share.mean),
            )
            for step in step_in.steps
            for name in names
        ),
        blanks=("Set on", "Counted", "Go on?"),
        remarks=tuple(remarks),
    )


def _span(step: Step, names: list[str]) -> str:
    """The shortest and the longest timeout of a week."""
    timeouts = sorted(step.timeout_s[name] for name in names)
    return " to ".join(dict.fromkeys(duration(one) for one in (timeouts[0], timeouts[-1])))


def _rate(figure: Estimate) -> str:
    """Expected false-offs; an interval that reaches below nothing is cut there."""
    if figure.mean is None:
        return "not known"
    if figure.half_width is None:
        return digits(figure.mean, 2)
    low, high = max(0.0, figure.mean - figure.half_width), figure.mean + figure.half_width
    return f"{digits(figure.mean, 2)} ({digits(low, 2)} to {digits(high, 2)})"


def _worst(step: Step) -> str:
    """The aisle with the most false-offs."""
    return f"{step.worst_aisle}: {digits(step.worst, 2)}" if step.worst_aisle else "none"


def _number(value: float | None) -> str:
    """A number's text, nothing where it is not known."""
    return "" if value is None else number_text(value)
