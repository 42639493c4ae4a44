"""Public holidays by country: the one place that knows the optional `holidays` library.

Comes in: a country's code and years.  Goes out: dates.  Used by `scenario/checks/traffic` (is the library
there, does it know the country?) and `traffic/calendar`.  Library: holidays, MIT licence; it is imported
inside the functions, so that nobody needs it who names no country.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

__all__ = ["public_holidays", "why_no_holidays"]


def public_holidays(country: str, years: Iterable[int]) -> set[dt.date]:
    """Return the public holidays of a country ("DE") or of one of its states ("US-CA").

    Raises
    ------
    ImportError : the holidays library is not installed
    NotImplementedError : it does not know the country or the state
    """
    import holidays

    code, _, state = country.partition("-")
    return set(holidays.country_holidays(code, subdiv=state or None, years=list(years)))


def why_no_holidays(country: str) -> str | None:
    """Return why a country's holidays cannot be told, None where they can."""
    try:
        public_holidays(country, [2027])
    except ImportError:
        return 'needs the library "holidays": pip install aislewake[holidays]; or list the dates in holidays'
    except NotImplementedError:
        return f'"{country}" is not known to the holidays library; write a code such as "DE" or "US-CA"'
    return None
