"""Numbers rounded for people: significant figures, and a mean that ends where its half-width does.

Comes in: numbers.  Goes out: text.  The ground: `show/words/amounts` and the notebook tables of results use
it.
"""

from __future__ import annotations

import math

__all__ = ["digits", "mean_and_half"]

_NOT_KNOWN = "not known"


def digits(value: float, figures: int = 3) -> str:
    """Return a number rounded to significant figures, thousands set apart by a comma; 40.0 is 40.

    Examples
    --------
    >>> digits(12345.6), digits(5.6), digits(0.012345), digits(40.0), digits(4873.0, 4)
    ('12,300', '5.60', '0.0123', '40', '4,873')
    """
    if not math.isfinite(value):
        return _NOT_KNOWN
    if value == round(value) and abs(value) < 10.0**figures:
        return f"{round(value):,}"
    return _fixed(value, _decimals(value, figures))


def mean_and_half(mean: float | None, half_width: float | None, scale: float = 1.0) -> tuple[str, str]:
    """Return a mean and the half-width of its interval, both ending at the same digit.

    Parameters
    ----------
    mean, half_width : None where not known
    scale : both are multiplied by it first

    Returns
    -------
    "not known" and "" without a mean; "" for a half-width that is not known

    Examples
    --------
    >>> mean_and_half(38.23, 1.34), mean_and_half(12345.0, 432.0), mean_and_half(5.0, None)
    (('38.2', '1.3'), ('12,300', '400'), ('5', ''))
    """
    if mean is None or not math.isfinite(mean):
        return _NOT_KNOWN, ""
    mean *= scale
    if half_width is None or not math.isfinite(half_width):
        return digits(mean), ""
    half = abs(half_width * scale)
    if half <= 1e-6 * abs(mean):
        return digits(mean), "0"
    places = _decimals(half, 2)
    if mean != 0.0:
        places = min(max(_decimals(mean, 3), _decimals(half, 1)), places)
    return _fixed(mean, places), _fixed(half, places)


def _decimals(value: float, figures: int) -> int:
    """Decimal places at which a value has so many significant figures once rounded (negative: tens)."""
    places = figures - 1 - math.floor(math.log10(abs(value)))
    return places - 1 if abs(round(value, places)) >= 10.0 ** (figures - places) else places


def _fixed(value: float, places: int) -> str:
    """Round to decimal places, which may be negative."""
    text = f"{round(value, places):,.{max(places, 0)}f}"
    return text.removeprefix("-") if not text.strip("-0.,") else text
