"""The page's charts: how they look; what they show comes from files/charts.mjs.

Comes in: the aisles' names.  Goes out: Bokeh models as JSON, their data empty.  After: `show/page/write`.
Colours are set in the page, where light or dark is known.  No Python callbacks, so no text is ever run.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

__all__ = ["chart_items"]

_FONT = "system-ui, sans-serif"


def chart_items(aisles: Sequence[str], *, knows_visits: bool) -> dict[str, Any]:
    """Return the charts by the name of the element that they stand in.

    Parameters
    ----------
    aisles : names to draw bars for
    knows_visits : without visits the price of saving is switching, not dim light
    """
    from bokeh.core.types import ID
    from bokeh.embed import json_item

    charts = {"tradeoff": _trade_off(knows_visits), "aisle-energy": _bars(aisles, "kWh a day", True)}
    if knows_visits:
        charts["aisle-dim"] = _bars(aisles, "min a day", False)
    return {
        name: _numbered(dict(json_item(chart, ID(f"chart-{name}"))), name) for name, chart in charts.items()
    }


def _numbered(item: dict[str, Any], name: str) -> dict[str, Any]:
    """Number a chart's models by themselves: Bokeh counts on through a process; pages are to be alike."""
    numbers: dict[str, str] = {}

    def walk(part: Any) -> Any:
        if isinstance(part, list):
            return [walk(one) for one in part]
        if not isinstance(part, dict):
            return part
        return {
            key: numbers.setdefault(one, f"{name}-{len(numbers)}")
            if key in ("id", "root_id") and isinstance(one, str)
            else walk(one)
            for key, one in part.items()
        }

    found: dict[str, Any] = walk(item)
    return found


def _figure(**words: Any) -> Any:
    """A bare figure: no toolbar, no reaction to the pointer but what the page does itself."""
    from bokeh.plotting import figure

    chart = figure(
        sizing_mode="stretch_width", toolbar_location=None, tools="", min_border_left=8, min_border_right=12,
        outline_line_color=None, background_fill_color=None, border_fill_color=None, **words,
    )
    for axis in chart.axis:
        axis.axis_label_text_font = axis.major_label_text_font = _FONT
        axis.axis_label_text_font_style = "normal"
        axis.axis_label_text_font_size = axis.major_label_text_font_size = "12px"
        axis.minor_tick_line_color = None
        axis.major_tick_in = 0
    return chart


def _trade_off(knows_visits: bool) -> Any:
    """Energy against service, along the timeout of one period; the setting now, pins, the scenario's own."""
    from bokeh.core.properties import value
    from bokeh.models import ColumnDataSource

    chart = _figure(height=280)
    chart.xaxis.axis_label = "energy a day [kWh]"
    chart.yaxis.axis_label = "dim truck-time a day [min]" if knows_visits else "switch-ups per zone-hour"
    curve = ColumnDataSource({"x": [], "y": []}, name="tradeoff-curve")
    chart.line("x", "y", source=curve, line_width=2, name="curve")
    chart.scatter("x", "y", source=curve, size=4, name="curve-dots")
    for name, marker, size in (("own", "square", 9), ("pins", "diamond", 11), ("now", "circle", 13)):
        columns: dict[str, Any] = {"x": [], "y": [], "label": [], "align": [], "aside": [], "below": []}
        source = ColumnDataSource(columns, name=f"tradeoff-{name}")
        chart.scatter("x", "y", source=source, marker=marker, size=size, name=name, line_width=2)
        chart.text(
            "x", "y", text="label", source=source, x_offset="aside", y_offset="below", name=f"{name}-label",
            text_font=value(_FONT), text_font_size="12px", text_align="align",
        )
    return chart


def _bars(aisles: Sequence[str], label: str, has_outline: bool) -> Any:
    """A bar an aisle."""
    from bokeh.models import ColumnDataSource

    chart = _figure(height=190, x_range=list(aisles))
    chart.yaxis.axis_label = label
    chart.y_range.start = 0
    chart.xaxis.major_label_orientation = "vertical" if len(aisles) > 8 else "horizontal"
    chart.xaxis.major_label_text_font_size = "10px" if len(aisles) > 16 else "12px"
    chart.xgrid.grid_line_color = None
    source = ColumnDataSource(
        {"aisle": list(aisles), "value": [0.0] * len(aisles), "whole": [0.0] * len(aisles)},
        name="bars-energy" if has_outline else "bars-dim",
    )
    if has_outline:
        chart.vbar("aisle", top="whole", width=0.72, source=source, name="whole", line_width=1)
    chart.vbar("aisle", top="value", width=0.72, source=source, name="value", line_color=None)
    return chart
