"""Plain values as JSON: figures that are not finite become null, so that every reader takes it.

Comes in: dicts, lists, numbers, words.  Goes out: text.  Used by `show/folders/whole` for files, and by the
commands for standard output.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from sim.results import Estimate

__all__ = ["estimate_value", "json_text", "plain_values"]


def plain_values(value: Any) -> Any:
    """Return values that JSON has: nan and infinity become None, numbers of numpy those of Python.

    Examples
    --------
    >>> plain_values({"a": float("nan"), "b": (1, np.float64(0.5))})
    {'a': None, 'b': [1, 0.5]}
    """
    if isinstance(value, Mapping):
        return {str(key): plain_values(one) for key, one in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return plain_values(value.tolist())
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [plain_values(one) for one in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def json_text(content: Any, *, only_ascii: bool = False) -> str:
    """Return plain values as JSON, keys in the order given, with a closing line end.

    Parameters
    ----------
    content : the values
    only_ascii : write other letters as escapes, which every terminal and pipe can carry
    """
    return json.dumps(plain_values(content), indent=2, ensure_ascii=only_ascii, allow_nan=False) + "\n"


def estimate_value(estimate: Estimate, unit: str | None = None) -> dict[str, Any]:
    """Return a mean and its half-width, with a unit where one is given.

    Examples
    --------
    >>> estimate_value(Estimate(2.0, None), "kWh")
    {'mean': 2.0, 'half_width': None, 'unit': 'kWh'}
    """
    found: dict[str, Any] = {"mean": estimate.mean, "half_width": estimate.half_width}
    return found if unit is None else {**found, "unit": unit}
