"""Inputs that are not known exactly: named ranges, and the scenario at any point of them.

Comes in: `KEY=a:b`, a scenario.  Goes out: `UncertainInput`s.  Before: `study/sweeping/vary`, `study/stress`;
after: `study/sensitivity`.  A key is one of `volume`, `skew`, `handling`, `speed` (a factor on what was
stated) or the dotted path of a number in the scenario file.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from sim.errors import Fault, InputError
from sim.scenario.faults import key_text
from sim.scenario.schema import Scenario
from sim.study.stress import FACTORS, scale
from sim.study.sweeping.plan import check_content, put_in
from sim.study.sweeping.values import Span, ValuesError, parse_values
from sim.study.sweeping.vary import place_of
from sim.wording import nearest_text, printable

__all__ = ["UncertainInput", "at_point", "parse_inputs", "usual_inputs"]


@dataclass(frozen=True)
class UncertainInput:
    """One input and its range.

    Attributes
    ----------
    name : as the user wrote it
    span : from where to where
    apply : the scenario with a value of it
    """

    name: str
    span: Span
    apply: Callable[[Scenario, float], Scenario]


def usual_inputs(scenario: Scenario) -> tuple[UncertainInput, ...]:
    """Return what a consultant seldom knows, in ranges for planning (common practice, no source).

    Moves an hour, inequality of the aisles and handling time 30 % less to 30 % more, speeds 20 %; pulses of a
    standing truck half to double of what was stated (0 to 2 a minute where nothing was); a passage missed in
    0 to 5 % of cases, or up to double of what was stated.
    """
    still, miss = scenario.sensors.still_rate_per_min, scenario.sensors.miss
    pulses = f"{0.5 * still:g}:{2.0 * still:g}" if still else "0.0:2.0"
    texts = [
        "volume=0.7:1.3",
        "skew=0.7:1.3",
        "handling=0.7:1.3",
        "speed=0.8:1.2",
        f"sensors.still_rate_per_min={pulses}",
        f"sensors.miss=0.0:{min(1.0, max(0.05, 2.0 * miss)):g}",
    ]
    return parse_inputs(texts, scenario)


def parse_inputs(texts: Sequence[str], scenario: Scenario) -> tuple[UncertainInput, ...]:
    """Read every `KEY=a:b` and check both ends of each range like a scenario file.

    Raises
    ------
    InputError : unknown keys, empty ranges, ends that the scenario cannot have; all of them together
    """
    found: list[UncertainInput] = []
    faults: list[Fault] = []
    for text in texts:
        where = f"--range {printable(text)}"
        try:
            one = _parse_one(text, scenario)
        except ValuesError as error:
            faults.append(Fault("", None, where, str(error)))
            continue
        if any(one.name == other.name for other in found):
            faults.append(Fault("", None, where, "stands more than once"))
            continue
        try:
            for end in (0.0, 1.0):
                one.apply(scenario, one.span.at(end))
        except InputError as error:
            faults += [Fault("", None, where, str(fault)) for fault in error.faults]
        found.append(one)
    if faults:
        raise InputError(faults)
    return tuple(found)


def _parse_one(text: str, scenario: Scenario) -> UncertainInput:
    """Read one `KEY=a:b`."""
    key, _, values = text.partition("=")
    key = key.strip()
    span = parse_values(values)
    if not isinstance(span, Span):
        raise ValuesError("write KEY=a:b, from the lowest to the highest value that may be true")
    if key in FACTORS:
        if span.low <= 0.0:
            raise ValuesError("is a factor on what was stated; it must be above 0")

        def scale_it(site: Scenario, value: float) -> Scenario:
            return _resolved(scale(site, key, value).content())

        return UncertainInput(key, Span(span.low, span.high, False), scale_it)
    if "." not in key and key not in scenario.content():
        raise ValuesError(f"there is no such input{nearest_text(key, FACTORS)}, or the path of a number")
    paths = place_of(key, scenario.content())

    def put_it(site: Scenario, value: float) -> Scenario:
        return _resolved(put_in(site.content(), [(paths, value)]))

    return UncertainInput(key, span, put_it)


def _resolved(content: dict[str, Any]) -> Scenario:
    """Turn plain values into a scenario, with all checks."""
    scenario, problems = check_content(content)
    if scenario is None:
        raise InputError([Fault("", None, key_text(one.path, content), one.message) for one in problems])
    return scenario


def at_point(scenario: Scenario, inputs: Sequence[UncertainInput], shares: Sequence[float]) -> Scenario:
    """Return the scenario with every input at a share of its range, 0..1."""
    for one, share in zip(inputs, shares, strict=True):
        scenario = one.apply(scenario, one.span.at(share))
    return scenario
