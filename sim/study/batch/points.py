"""The points of a study: what each is called, which share their trucks, and the key of each one's content.

Comes in: a `Study`.  Goes out: `Batch`.  Before: `study/batch/file`, `study/sweeping/plan`; after:
`study/batch/run`, `show/folders/batch_table`.

A point's key is the sha256 of the canonical JSON of everything that changes its figures, and the model's
version; so another study with the same point, in whatever order, finds it in the store.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sim.errors import Fault, InputError
from sim.outcome.names import LIVE_OUTCOMES
from sim.provenance import MODEL_VERSION
from sim.replication import drivers_react
from sim.scenario.faults import Problem, key_text
from sim.scenario.schema import Scenario, Settings
from sim.study.batch.file import SITE_KEY, Study
from sim.study.relight import PRICED_AFTERWARDS, with_settings
from sim.study.stress import FACTORS, scale
from sim.study.sweeping.plan import MOST_ROWS, Choice, check_content, check_points, sample_shares, value_at
from sim.study.sweeping.values import Value, value_text
from sim.study.sweeping.vary import Varied

__all__ = ["Batch", "lay_out_points", "point_keys"]

_CHANGES_NOTHING = ("format", "title", "replications", "precision", "recommend", *PRICED_AFTERWARDS)
Point = tuple[Value, ...]


@dataclass(frozen=True)
class Batch:
    """Every point of a study.

    Attributes
    ----------
    study : what was asked for
    keys : columns that tell points apart
    points : their values, in the order of the table (N, len(keys))
    sites : distinct scenarios by all that is not a setting (S,)
    site_of : which site each point has (N,)
    choices : the settings of each point (N,)
    hashes : key of each point's content, 64 hexadecimal digits (N,)
    replications : how many each site's points have (S,)
    """

    study: Study
    keys: tuple[str, ...]
    points: tuple[Point, ...]
    sites: tuple[Scenario, ...]
    site_of: tuple[int, ...]
    choices: tuple[Choice, ...]
    hashes: tuple[str, ...]
    replications: tuple[int, ...]

    def __len__(self) -> int:
        return len(self.points)

    @property
    def rows(self) -> int:
        """Rows of the table: points times their replications."""
        return sum(self.replications[site] for site in self.site_of)

    def scenario_at(self, point: int) -> Scenario:
        """Return the whole scenario of one point."""
        return with_settings(self.sites[self.site_of[point]], self.choices[point])

    def find(self, key: str) -> int:
        """Return the point whose key begins so.

        Raises
        ------
        InputError : none or several do
        """
        found = [point for point, own in enumerate(self.hashes) if own.startswith(key.lower())]
        if len(key) < 6 or len(found) != 1:
            words = "several points have it" if len(found) > 1 and len(key) >= 6 else "no point has it"
            raise InputError(f"--point {key}: {words}; give at least 6 digits of a key in the table")
        return found[0]


def lay_out_points(study: Study) -> Batch:
    """Lay out every point and check it like a scenario file.

    Raises
    ------
    InputError : too many points, or values that a scenario cannot have; all told together
    """
    columns = [*_site_column(study), *study.factors]
    points = list(_points(study, columns))
    keys = tuple(column.key for column in columns)
    has_sites = len(study.sites) > 1
    groups: dict[tuple[int, tuple[tuple[str, Value], ...]], list[int]] = {}
    for place, point in enumerate(points):
        site = study.names.index(str(point[0])) if has_sites else 0
        scaled = tuple((key, value) for key, value in zip(keys, point, strict=True) if key in FACTORS)
        groups.setdefault((site, scaled), []).append(place)
    sites: list[Scenario] = []
    site_of, choices = [0] * len(points), [_NO_CHOICE] * len(points)
    counts: list[int] = []
    faults: dict[Fault, None] = {}
    for (number, scaled), places in groups.items():
        own = tuple(
            replace(one, paths=paths)
            for one, paths in zip(study.factors, study.places[number], strict=True)
            if one.key not in FACTORS
        )
        picked = [place for place, key in enumerate(keys) if key not in FACTORS and key != SITE_KEY]
        try:
            base = _scaled(study, number, scaled)
            plan = check_points(base, own, [tuple(points[place][at] for at in picked) for place in places])
        except InputError as error:
            faults.update(dict.fromkeys(_with_place(fault, study) for fault in error.faults))
            continue
        for place, site_place, choice in zip(places, plan.site_of, plan.choices, strict=True):
            site_of[place], choices[place] = len(sites) + site_place, choice
        sites += plan.sites
        counts += [study.replications_of(number)] * len(plan.sites)
    if faults:
        raise InputError(tuple(faults))
    _refuse_unknown(study, sites)
    hashes = point_keys(sites, site_of, choices)
    return Batch(
        study,
        keys,
        tuple(points),
        tuple(sites),
        tuple(site_of),
        tuple(choices),
        hashes,
        tuple(counts),
    )


def _refuse_unknown(study: Study, sites: Sequence[Scenario]) -> None:
    """Refuse outcomes that only drivers who react to the light have, where they do not."""
    if all(drivers_react(site) for site in sites):
        return
    study.file.refuse(
        Problem(("outcomes", place), f"{name} is known only where drivers react to the light")
        for place, name in enumerate(study.form.outcomes or ())
        if name in LIVE_OUTCOMES
    )


_NO_CHOICE: Mapping[str, Settings] = {}


def _site_column(study: Study) -> list[Varied]:
    """Return the column of sites, where there are several."""
    return [Varied(SITE_KEY, (), study.names, None)] if len(study.sites) > 1 else []


def _points(study: Study, columns: Sequence[Varied]) -> Iterator[Point]:
    """Yield the points in order, none twice."""
    sample = study.form.sample
    size = sample.size if sample is not None else math.prod(len(one.values or ()) for one in columns)
    most = max(study.replications_of(site) for site in range(len(study.sites)))
    if size * most > MOST_ROWS:
        words = (
            f"this study has {size * most:,} rows ({size:,} points x {most:,} replications); at most "
            f"{MOST_ROWS:,}. Cut it into several files that share one --out, or take a [sample]"
        )
        study.file.refuse([Problem(("factors",), words)])
    if sample is None:
        yield from itertools.product(*(one.values or () for one in columns))
        return
    seen: set[tuple[str, ...]] = set()
    for row in sample_shares(len(columns), sample.size, sample.design, sample.seed):
        point = tuple(value_at(one, share) for one, share in zip(columns, row, strict=True))
        text = tuple(value_text(value) for value in point)
        if text not in seen:
            seen.add(text)
            yield point


def _scaled(study: Study, site: int, scaled: Sequence[tuple[str, Value]]) -> Scenario:
    """Return a site with the factors of `study/stress` applied, checked like a file."""
    scenario = study.sites[site]
    for key, value in scaled:
        assert isinstance(value, int | float)
        scenario = scale(scenario, key, float(value))
    if not scaled:
        return scenario
    content = scenario.content()
    made, problems = check_content(content)
    if made is None:
        named = ", ".join(f"{key}={value_text(value)}" for key, value in scaled)
        raise InputError(
            [
                Fault("", None, f"--vary {named}", f"{key_text(problem.path, content)}: {problem.message}")
                for problem in problems
            ]
        )
    return made


def _with_place(fault: Fault, study: Study) -> Fault:
    """Say where in the study file the values stand that a scenario objects to."""
    blamed = fault.key.removeprefix("--vary ")
    key = next(one.key for one in study.factors if f", {one.key}=" in f", {blamed}")
    place = study.file.places.get(("factors", key))
    return Fault(study.file.name, place.line if place else None, blamed, fault.message)


def point_keys(
    sites: Sequence[Scenario], site_of: Sequence[int], choices: Sequence[Choice]
) -> tuple[str, ...]:
    """Return the key of every point (N,).

    Parameters
    ----------
    sites : the scenarios (S,)
    site_of, choices : which one each point has, and its settings (N,)
    """
    rest, own = [], []
    for site in sites:
        content = {key: value for key, value in site.content().items() if key not in _CHANGES_NOTHING}
        settings = content["lighting"].pop("settings")
        rest.append(hashlib.sha256(f"[{MODEL_VERSION},{_canonical(content)},".encode()))
        own.append({name: _canonical(one) for name, one in settings.items()})
    texts: dict[int, str] = {}
    found = []
    for site_place, choice in zip(site_of, choices, strict=True):
        for one in choice.values():
            if id(one) not in texts:
                texts[id(one)] = _canonical(one.model_dump(by_alias=True, exclude_none=True))
        changed = {name: texts[id(one)] for name, one in choice.items()}
        words = sorted({**own[site_place], **changed}.items())
        digest = rest[site_place].copy()
        digest.update(f"[{','.join(f'[{json.dumps(name)},{text}]' for name, text in words)}]]".encode())
        found.append(digest.hexdigest())
    return tuple(found)


def _canonical(content: Any) -> str:
    """Return plain values as JSON of one form."""
    return json.dumps(content, sort_keys=True, separators=(",", ":"), default=str)
