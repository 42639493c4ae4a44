"""Check many settings of one site quickly: only what looks at settings is asked again.

Comes in: the content of a site without faults.  Goes out: valid settings, or the word to check in full.
Before: `scenario/parts`, `scenario/checks/contradictions`; after: `study/sweeping/plan`.

A sweep tries thousands of settings on a site that stays as it is.  Most contradictions of a scenario have
nothing to do with settings; which ones do is not written down here but seen: a check that never looked at the
settings of this site cannot answer otherwise when they change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from pydantic import ValidationError

from sim.scenario.checks.contradictions import CHECKS
from sim.scenario.parts import Parts, gather_parts
from sim.scenario.schema import Settings

__all__ = ["SettingsCheck"]


class _Watched(Parts):
    """Parts that note who looks at the settings."""

    def __getattribute__(self, name: str) -> Any:
        if name == "settings":
            super().__getattribute__("__dict__")["was_looked_at"] = True
        return super().__getattribute__(name)


class SettingsCheck:
    """Checks of one site's settings.

    Parameters
    ----------
    content : plain values of the site, free of faults
    """

    def __init__(self, content: Mapping[str, Any]) -> None:
        self._base: Mapping[str, Any] = content["lighting"]["settings"]
        self._parts = gather_parts(content, ())
        columns = {one.name: getattr(self._parts, one.name) for one in fields(self._parts)}
        self._checks = []
        for check in CHECKS:
            watched = _Watched(**columns)
            # how aisles are sorted looks at the names of settings, which stay
            watched.__dict__["kinds"] = self._parts.kinds
            tuple(check(watched))
            if "was_looked_at" in watched.__dict__:
                self._checks.append(check)

    def find(self, values: Mapping[str, Mapping[str, Any]]) -> dict[str, Settings] | None:
        """Return settings with some values changed; None where anything is wrong with them.

        Parameters
        ----------
        values : by name of settings, the values of its keys
        """
        try:
            found = {
                name: Settings.model_validate({**self._base[name], **own}) for name, own in values.items()
            }
        except ValidationError:
            return None
        parts = replace(self._parts, settings={**self._parts.settings, **found})
        parts.__dict__["kinds"] = self._parts.kinds
        return None if any(True for check in self._checks for _ in check(parts)) else found
