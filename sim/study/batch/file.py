"""A study file in: every fault at once, each with its file, line and key.

Comes in: a path.  Goes out: a frozen `Study` with its scenarios resolved and its factors read.  Before:
`study/batch/schema`, `scenario/toml`; after: `study/batch/points`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomli_w
from pydantic import ValidationError

from sim.errors import Fault, InputError
from sim.outcome.names import ALL_OUTCOMES
from sim.scenario.demos import find_scenario
from sim.scenario.faults import Problem
from sim.scenario.positions import Key
from sim.scenario.schema import Scenario
from sim.scenario.toml import TomlFile, load_scenario, read_toml
from sim.study.batch.schema import ALLOWED, RangeForm, StudyForm
from sim.study.stress import FACTORS
from sim.study.sweeping.sweep import EXACT_OUTCOMES
from sim.study.sweeping.values import Span, Value, ValuesError, parse_values, value_text
from sim.study.sweeping.vary import Varied, place_of
from sim.wording import nearest_text, printable

__all__ = ["SITE_KEY", "Study", "dump_study", "read_study"]

SITE_KEY = "scenario"
"""The column that names the site, where a study has several."""
_FACTOR_WORDS = "write a list of values, or { from = 30, to = 300, step = 30 }"


@dataclass(frozen=True)
class Study:
    """A study as it was asked for.

    Attributes
    ----------
    file : where it stands, for messages
    form : what was said
    names : of its sites (S,)
    sites : the scenarios, with the study's seed (S,)
    factors : what is varied, in order; the keys of `study/stress` have no places (F,)
    places : for each site, where each factor's values go (S, F)
    outcomes : columns of the table
    """

    file: TomlFile
    form: StudyForm
    names: tuple[str, ...]
    sites: tuple[Scenario, ...]
    factors: tuple[Varied, ...]
    places: tuple[tuple[tuple[Key, ...], ...], ...]
    outcomes: tuple[str, ...]

    def replications_of(self, site: int) -> int:
        """Return how many replications the points of a site have."""
        return self.form.replications or self.sites[site].replications


def read_study(path: Path | str) -> Study:
    """Read a study file and the scenarios that it names.

    Raises
    ------
    InputError : a file cannot be read or has faults, all of them together
    """
    file = read_toml(path, "study")
    form = _read_form(file)
    problems: list[Problem] = []
    sites, names = _load_sites(file, form)
    factors = []
    for key, values in form.factors.items():
        try:
            factors.append(_read_factor(key, values, sites))
        except ValuesError as error:
            problems.append(Problem(("factors", key), str(error)))
    problems += _find_doubles(form, factors, sites)
    if form.sample is None:
        message = "a range without a step is continuous; give a step, or a [sample]"
        problems += [Problem(("factors", one.key), message) for one in factors if one.span is not None]
    for place, name in enumerate(form.outcomes or ()):
        if name not in ALL_OUTCOMES:
            message = f'"{printable(name)}" is no outcome{nearest_text(name, ALL_OUTCOMES)}'
            problems.append(Problem(("outcomes", place), message))
    file.refuse(problems)
    outcomes = tuple(dict.fromkeys(form.outcomes or EXACT_OUTCOMES))
    places = tuple(
        tuple(() if one.key in FACTORS else place_of(one.key, content) for one in factors)
        for content in (site.content() for site in sites)
    )
    return Study(file, form, names, sites, tuple(factors), places, outcomes)


def dump_study(study: Study) -> str:
    """Return a study as TOML, its sites named as files beside it: `NAME.toml`."""
    content = study.form.model_dump(by_alias=True, exclude_none=True)
    content["scenario"] = [f"{name}.toml" for name in study.names]
    factors = content.pop("factors")
    # by hand, because tables would be moved behind lists, and the order of the factors is that of the points
    lines = ["", "[factors]"]
    for key, values in factors.items():
        if isinstance(values, Mapping):
            name = tomli_w.dumps({key: 0}).removesuffix("0\n")
            words = ", ".join(f"{word} = {value!r}" for word, value in values.items())
            lines.append(f"{name}{{ {words} }}")
        else:
            lines.append(tomli_w.dumps({key: _plain(values)}).rstrip())
    return tomli_w.dumps(_plain(content)) + "\n".join(lines) + "\n"


def _plain(value: Any) -> Any:
    """Turn tuples into lists, all the way down."""
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    return [_plain(inner) for inner in value] if isinstance(value, list | tuple) else value


def _read_form(file: TomlFile) -> StudyForm:
    """Check the form of every key."""
    try:
        return StudyForm.model_validate(file.content)
    except ValidationError as error:
        problems: dict[Key, str] = {}
        for details in error.errors(include_url=False, include_input=False):
            path, message = _sentence(details["type"], details["loc"], file)
            problems.setdefault(path, message)
        file.refuse(Problem(path, message) for path, message in problems.items())
        raise


def _sentence(kind: str, location: tuple[str | int, ...], file: TomlFile) -> tuple[Key, str]:
    """Say where a key is wrong and what is allowed."""
    if location[0] == "factors" and len(location) > 1:
        return _factor_sentence(str(location[1]), file)
    path = location[: 2 if location[0] in ("sample", "scenario", "outcomes") else 1]
    names = tuple(str(step) for step in path)
    allowed = ALLOWED.get(names, ALLOWED.get(names[:1], ""))
    if kind == "extra_forbidden":
        known = [name[-1] for name in ALLOWED if name[:-1] == names[:-1]]
        return path, f"unknown key{nearest_text(names[-1], known)}"
    if kind == "missing":
        return path, f"is missing; allowed: {allowed}"
    place = file.places.get(path)
    written = "this" if place is None or not place.wording else printable(place.wording)
    return path, f"{written} is not allowed; allowed: {allowed}"


def _factor_sentence(key: str, file: TomlFile) -> tuple[Key, str]:
    """Say what a factor's values should look like."""
    path: Key = ("factors", key)
    values = file.content["factors"][key]
    if isinstance(values, Mapping) and not {"from", "to", "step"} & set(values):
        inner = next(iter(values), "key")
        return path, f'write the whole key in quotes: "{printable(f"{key}.{inner}")}" = ...'
    if isinstance(values, Mapping):
        unknown = [name for name in values if name not in ("from", "to", "step")]
        if unknown:
            return path, f'unknown word "{printable(unknown[0])}"; {_FACTOR_WORDS}'
    if values == []:
        return path, f"has no values; {_FACTOR_WORDS}"
    return path, _FACTOR_WORDS


def _load_sites(file: TomlFile, form: StudyForm) -> tuple[tuple[Scenario, ...], tuple[str, ...]]:
    """Load the scenarios; a path is looked for beside the study file, then among the packaged sites."""
    sites, names = [], []
    faults: list[Fault] = []
    for place, given in enumerate(form.scenario):
        beside = Path(file.name).parent / given
        at: Key = ("scenario", place) if ("scenario", place) in file.places else ("scenario",)
        found = beside if beside.exists() else find_scenario(given)
        if not found.is_file():
            faults.append(file.fault(Problem(at, f"no such scenario file: {printable(given)}")))
            continue
        try:
            site = load_scenario(found)
        except InputError as error:
            faults += error.faults
            continue
        if found.stem in names:
            faults.append(file.fault(Problem(at, f"the site {printable(found.stem)} stands more than once")))
        sites.append(site if form.seed is None else site.model_copy(update={"seed": form.seed}))
        names.append(found.stem)
    if faults:
        raise InputError(faults)
    return tuple(sites), tuple(names)


def _read_factor(key: str, values: tuple[Any, ...] | RangeForm, sites: tuple[Scenario, ...]) -> Varied:
    """Read one factor.

    Raises
    ------
    ValuesError : some site has no such key, or the values are no values
    """
    parsed = _read_range(values) if isinstance(values, RangeForm) else _read_list(values)
    span = parsed if isinstance(parsed, Span) else None
    listed = None if isinstance(parsed, Span) else parsed
    if key in FACTORS:
        ends = (span.low, span.high) if span is not None else listed or ()
        for value in ends:
            if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 < value <= 1000.0:
                words = f"is a factor on what the scenario states, above 0 and at most 1,000, not {value}"
                raise ValuesError(words)
        return Varied(key, (), listed, span and Span(span.low, span.high, False))
    paths: tuple[Key, ...] = ()
    for site in sites:
        paths = place_of(key, site.content())
    return Varied(key, paths, listed, span)


def _read_range(form: RangeForm) -> tuple[Value, ...] | Span:
    """Unroll a range."""
    ends = f"{form.from_!r}:{form.to!r}"
    return parse_values(ends if form.step is None else f"{ends}:{form.step!r}")


def _read_list(values: tuple[Any, ...]) -> tuple[Value, ...]:
    """Check a list of values: none twice, none a table or a date."""
    seen: set[str] = set()
    for value in values:
        if not isinstance(value, bool | int | float | str | list):
            raise ValuesError(f"{printable(str(value))} is no number, text, truth value or list")
        if isinstance(value, float) and not abs(value) < float("inf"):
            raise ValuesError(f"{value} is not a finite number")
        text = value_text(value)
        if text in seen:
            raise ValuesError(f"{printable(text)} stands more than once")
        seen.add(text)
    return values


def _find_doubles(form: StudyForm, factors: list[Varied], sites: tuple[Scenario, ...]) -> Iterator[Problem]:
    """Find factors that set the same place in some site."""
    told: set[str] = set()
    for site in sites:
        content = site.content()
        taken: dict[Key, str] = {}
        for one in factors:
            for path in () if one.key in FACTORS else place_of(one.key, content):
                if path in taken and one.key not in told:
                    told.add(one.key)
                    yield Problem(("factors", one.key), f"sets the same value as {taken[path]}; vary it once")
                taken.setdefault(path, one.key)
