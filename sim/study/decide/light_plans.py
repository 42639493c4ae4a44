"""A light plan: which settings each aisle gets, and the scenario that has them.

Comes in: a `Fit` and its solution.  Goes out: `LightPlan`, a scenario that loads back.  Before:
`study/decide/fit`; after: `study/decide/recommend`, `show/folders/recommend`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from sim.records import IntColumn
from sim.scenario.faults import key_text
from sim.scenario.schema import Scenario, Settings
from sim.study.sweeping.plan import check_content

__all__ = ["LightPlan", "scenario_with"]


@dataclass(frozen=True)
class LightPlan:
    """Settings of every place, and how good they were proved to be on the replications fitted to.

    Attributes
    ----------
    name : "single", "groups" or "aisles"
    group_of : group of each place: aisle, or aisles that share a zone (P,)
    combination : of each group, into the fit (G,)
    settings : of each group, by the timetable's name (G,)
    cost : the aim's outcome, mean per run
    bound : no plan of this kind within the limits has less
    considered : choices of all groups together
    """

    name: str
    group_of: IntColumn
    combination: tuple[int, ...]
    settings: tuple[Mapping[str, Settings], ...]
    cost: float
    bound: float
    considered: int

    @property
    def gap(self) -> float:
        """Proved distance from the optimum, over the cost."""
        return max(0.0, self.cost - self.bound) / abs(self.cost) if self.cost else 0.0

    def settings_of(self, place: int) -> Mapping[str, Settings]:
        """Return one place's settings by the timetable's name."""
        return self.settings[int(self.group_of[place])]


def scenario_with(flat: Scenario, plan: LightPlan) -> Scenario:
    """Return a scenario whose aisles have the plan's settings.

    Each timetable name keeps its name for the settings of most aisles; others get a number behind it and
    an override for their aisles; an open area names them itself.  The result is checked like a file, so that
    it loads back.

    Parameters
    ----------
    flat : without overrides of settings
    plan : for its aisles
    """
    names = list(plan.settings[0])
    places = flat.places
    made: dict[str, Settings] = {}
    called: dict[tuple[str, Settings], str] = {}
    taken = set(flat.lighting.settings)
    for name in names:
        votes = Counter(plan.settings_of(place)[name] for place in range(len(places)))
        for number, (settings, _) in enumerate(votes.most_common()):
            called[name, settings] = name if number == 0 else _free_name(name, number + 1, {*made, *taken})
            made[called[name, settings]] = settings
    alike: dict[tuple[tuple[str, str], ...], list[str]] = {}
    for place, (_, aisles) in enumerate(places):
        own = plan.settings_of(place)
        mapping = tuple((name, called[name, own[name]]) for name in names if called[name, own[name]] != name)
        if mapping:
            alike.setdefault(mapping, []).extend(aisles)
    content = flat.content()
    for area in content.get("area", []):
        for mapping, listed in alike.items():
            if area["name"] in listed:
                area["settings"] = dict(mapping)
                listed.remove(area["name"])
    content["lighting"]["settings"] |= {
        name: settings.model_dump(exclude_none=True) for name, settings in made.items()
    }
    kept = [one for one in content.get("override", []) if set(one) - {"aisles"}]
    content["override"] = kept + [
        {"aisles": listed, "settings": dict(mapping)} for mapping, listed in alike.items() if listed
    ]
    scenario, problems = check_content(content)
    assert scenario is not None, [f"{key_text(one.path, content)}: {one.message}" for one in problems]
    return scenario


def _free_name(name: str, number: int, taken: set[str]) -> str:
    """Put a number behind a name; at most 60 characters, not taken."""
    while (free := f"{name[:50]}-{number}") in taken:
        number += 1
    return free
