"""The points of a sweep: every combination or a sample, each checked like a scenario file.

Comes in: a scenario and its varied keys.  Goes out: a `Plan`: the distinct sites (whose traffic must be
simulated) and the settings to try on each.  Before: `study/sweeping/vary`; after: `study/sweeping/sweep`.

Sampling (scipy.stats.qmc): Sobol' points with Owen's scrambling, or a Latin hypercube with one point in
each stratum of each key (McKay, Beckman and Conover 1979; Sobol' 1967; from memory).  A key with listed
values or a stepped range is sampled by index, each value alike; a range `a:b` is sampled between its ends,
in whole numbers where both ends are.  Points that come out twice are kept once.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import ValidationError

from sim.errors import Fault, InputError
from sim.scenario.checks.contradictions import find_contradictions
from sim.scenario.checks.settings import SettingsCheck
from sim.scenario.faults import Problem, find_form_problems, key_text
from sim.scenario.parts import gather_parts
from sim.scenario.positions import Key
from sim.scenario.schema import Scenario, Settings
from sim.study.sweeping.values import Value, value_text
from sim.study.sweeping.vary import Varied

__all__ = [
    "MOST_ROWS",
    "Choice",
    "Design",
    "Plan",
    "check_content",
    "check_points",
    "make_plan",
    "put_in",
    "sample_shares",
    "value_at",
]

MOST_ROWS = 10_000_000
"""Rows (points times replications) beyond which a sweep is refused."""
_MOST_FAULTS = 20

Choice = Mapping[str, Settings]
"""Settings by name, replacing the scenario's."""
Design = Literal["sobol", "lhs"]


@dataclass(frozen=True)
class Plan:
    """What a sweep computes.

    Attributes
    ----------
    keys : the varied keys as given, the names of columns (V,)
    points : their values (N, V)
    sites : distinct scenarios by the keys that are not settings, in order of their first point
    site_of : which site each point belongs to (N,)
    choices : the settings of each point (N,)
    """

    keys: tuple[str, ...]
    points: tuple[tuple[Value, ...], ...]
    sites: tuple[Scenario, ...]
    site_of: tuple[int, ...]
    choices: tuple[Choice, ...]

    def __len__(self) -> int:
        return len(self.points)

    def scenario_at(self, point: int) -> Scenario:
        """Return the whole scenario of one point."""
        site = self.sites[self.site_of[point]]
        settings = {**site.lighting.settings, **self.choices[point]}
        return site.model_copy(update={"lighting": site.lighting.model_copy(update={"settings": settings})})


def make_plan(
    scenario: Scenario,
    varied: Sequence[Varied],
    *,
    replications: int,
    sample: int | None = None,
    design: Design = "sobol",
) -> Plan:
    """Lay out the points of a sweep and check every one of them.

    Parameters
    ----------
    scenario : the site
    varied : at least one key
    replications : of each point; counts towards the size
    sample : so many points instead of every combination
    design : how to sample

    Raises
    ------
    InputError : nothing varied, too many rows, or values that the scenario cannot have; all told together
    """
    if not varied:
        raise InputError("nothing to sweep: give at least one --vary KEY=a:b:step")
    spans = [key for key in varied if key.span is not None]
    if spans and sample is None:
        raise InputError(
            [
                Fault(
                    "",
                    None,
                    f"--vary {key.key}",
                    "a:b without a step is continuous; give a:b:step, or --sample N",
                )
                for key in spans
            ]
        )
    size = sample if sample is not None else math.prod(len(key.values or ()) for key in varied)
    if size * replications > MOST_ROWS:
        raise InputError(
            f"this sweep has {size * replications:,} rows ({size:,} points x {replications:,} "
            "replications); at "
            f"most {MOST_ROWS:,}. Take larger steps or fewer keys, or --sample "
            f"{max(1, min(1000, MOST_ROWS // replications))} to take points evenly from all of them"
        )
    if sample is None:
        points = list(itertools.product(*(key.values or () for key in varied)))
    else:
        points = _sample(varied, sample, design, scenario.seed)
    return check_points(scenario, varied, points)


def _sample(varied: Sequence[Varied], count: int, design: Design, seed: int) -> list[tuple[Value, ...]]:
    """Draw points evenly from all combinations."""
    shares = sample_shares(len(varied), count, design, seed)
    points = [
        tuple(value_at(key, share) for key, share in zip(varied, row, strict=True))
        for row in shares
    ]
    kept = {tuple(value_text(value) for value in point): point for point in points}
    return list(kept.values())


def sample_shares(keys: int, count: int, design: Design, seed: int) -> list[list[float]]:
    """Return points spread evenly over the unit cube, one share 0..1 per key (count, keys).

    Parameters
    ----------
    keys, count : how many dimensions and points
    design : how
    seed : chance of the drawing
    """
    from scipy.stats import qmc

    sampler: qmc.QMCEngine
    if design == "sobol":
        sampler = qmc.Sobol(keys, scramble=True, seed=seed)
        shares = sampler.random_base2(math.ceil(math.log2(count)) if count > 1 else 0)[:count]
    else:
        sampler = qmc.LatinHypercube(keys, seed=seed)
        shares = sampler.random(count)
    found: list[list[float]] = shares.tolist()
    return found


def value_at(key: Varied, share: float) -> Value:
    """Return the value of a key at a share of its range, 0..1; listed values have equal shares."""
    if key.span is not None:
        return key.span.at(share)
    assert key.values is not None
    return key.values[min(int(share * len(key.values)), len(key.values) - 1)]


def put_in(content: Mapping[str, Any], values: Iterable[tuple[Sequence[Key], Value]]) -> dict[str, Any]:
    """Return a scenario's content with values put in at their places.

    Parameters
    ----------
    content : plain values, not changed
    values : places and the value they take
    """
    changed = deepcopy(dict(content))
    for paths, value in values:
        for path in paths:
            table: Any = changed
            for step in path[:-1]:
                table = table[step] if isinstance(step, int) else table.setdefault(step, {})
            table[path[-1]] = value
    return changed


def check_content(content: Mapping[str, Any]) -> tuple[Scenario | None, list[Problem]]:
    """Validate plain values exactly as a scenario file is: form first, then contradictions."""
    scenario, problems = None, []
    try:
        scenario = Scenario.model_validate(content)
    except ValidationError as error:
        problems = find_form_problems(content, error, {})
    parts = gather_parts(content, [problem.path for problem in problems])
    problems += find_contradictions(parts)
    return (None if problems else scenario), problems


def check_points(scenario: Scenario, varied: Sequence[Varied], points: Sequence[tuple[Value, ...]]) -> Plan:
    """Check every point, each distinct site and each distinct set of settings once.

    Parameters
    ----------
    scenario : the site
    varied : its keys (V,)
    points : their values (N, V)

    Raises
    ------
    InputError : values that the scenario cannot have; all told together
    """
    content = scenario.content()
    sites: dict[tuple[str, ...], int] = {}
    resolved: list[Scenario] = []
    known: dict[tuple[Any, ...], Settings] = {}
    checks: dict[int, SettingsCheck] = {}
    site_of, choices = [], []
    faults: dict[Fault, None] = {}
    names_of = [tuple(str(path[2]) for path in key.paths) if key.is_setting else () for key in varied]
    for point in points:
        site_key = tuple(
            value_text(value) for key, value in zip(varied, point, strict=True) if not key.is_setting
        )
        site = sites.get(site_key)
        own: dict[str, list[Any]] = {}
        for names, key, value in zip(names_of, varied, point, strict=True):
            for name in names:
                own.setdefault(name, [site_key]).append((key.paths[0][-1], repr(value)))
        keys = {name: (name, *parts) for name, parts in own.items()}
        is_known = site is not None and all(key in known for key in keys.values())
        if site is not None and not is_known:
            if site not in checks:
                checks[site] = SettingsCheck(resolved[site].content())
            found = checks[site].find(_values_of(varied, names_of, point))
            if found is not None:
                known.update({key: found[name] for name, key in keys.items()})
                is_known = True
        if site is None or not is_known:
            pairs = [(key.paths, value) for key, value in zip(varied, point, strict=True)]
            changed = put_in(content, pairs)
            made, problems = check_content(changed)
            for problem in problems:
                faults.setdefault(_fault(problem, varied, point, changed))
            if len(faults) >= _MOST_FAULTS:
                break
            if made is None:
                continue
            # settings that the quick check refuses are refused here too: what is made is a new site
            site = sites[site_key] = len(resolved)
            resolved.append(made)
            for name, own_key in keys.items():
                known[own_key] = made.lighting.settings[name]
        site_of.append(site)
        choices.append({name: known[key] for name, key in keys.items()})
    if faults:
        raise InputError(tuple(faults))
    return Plan(
        keys=tuple(key.key for key in varied),
        points=tuple(points),
        sites=tuple(resolved),
        site_of=tuple(site_of),
        choices=tuple(choices),
    )


def _values_of(
    varied: Sequence[Varied], names_of: Sequence[Sequence[str]], point: Sequence[Value]
) -> dict[str, dict[str, Any]]:
    """Values of a point's settings by name and key."""
    found: dict[str, dict[str, Any]] = {}
    for key, names, value in zip(varied, names_of, point, strict=True):
        for name in names:
            found.setdefault(name, {})[str(key.paths[0][-1])] = value
    return found


def _fault(
    problem: Problem, varied: Sequence[Varied], point: Sequence[Value], content: dict[str, Any]
) -> Fault:
    """Name the varied key and its value beside the place where the scenario objects."""
    pairs = list(zip(varied, point, strict=True))
    own = [pair for pair in pairs if any(_is_within(problem.path, path) for path in pair[0].paths)]
    named = [
        pair
        for pair in pairs
        if pair in own or any(str(path[-1]) in problem.message for path in pair[0].paths)
    ]
    shared = [pair for pair in pairs if any(path[0] == problem.path[0] for path in pair[0].paths)]
    blamed = ", ".join(f"{key.key}={value_text(value)}" for key, value in named or shared or pairs)
    place = key_text(problem.path, content)
    is_same = len(named) == len(own) == 1 and own[0][0].key in (
        place,
        place.removeprefix("lighting.settings."),
    )
    message = problem.message if is_same else f"{place}: {problem.message}"
    return Fault("", None, f"--vary {blamed}", message)


def _is_within(path: Key, place: Key) -> bool:
    """Whether a problem's path lies at or below a varied place."""
    return path[: len(place)] == place
