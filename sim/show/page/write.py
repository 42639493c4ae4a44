"""The page as one text: template, styles, scripts, data.

Comes in: sites with their replications.  Goes out: HTML that needs nothing else.  Before: `show/page/data`,
`show/page/charts`; after: `commands/page`.  Names and titles are shown as text only.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from markupsafe import Markup

from sim.provenance import versions
from sim.scenario.schema import Scenario
from sim.show.folders.whole import number_text
from sim.show.page.bundle import (
    ENGINE,
    PAGE,
    bokeh_script,
    data_text,
    environment,
    file_text,
    joined,
    policy,
)
from sim.show.page.charts import chart_items
from sim.show.page.data import Gathered, Source, gather, pack_page
from sim.show.words.amounts import count_of, duration, moment
from sim.show.words.cautions import cautions
from sim.study.quick import DRIVE_M_PER_S, HANDLING_S, QuickInputs

__all__ = ["MOST_BYTES", "render_page"]

MOST_BYTES = 4_000_000
"""So large may the file be before the sliders begin at a greater timeout."""
LEAST_TIMEOUTS_S = (30.0, 45.0, 60.0)
"""Where the timeouts' sliders may begin."""


@dataclass(frozen=True)
class _Script:
    """A script as the template puts it."""

    text: Markup
    is_module: bool


@dataclass(frozen=True)
class _Box:
    """A number of the quick estimate's form."""

    name: str
    label: str
    value: str
    least: float
    most: float
    step: str
    scale: float


_BOXES = (
    ("aisles", "Aisles", 1, 1000, "1", 1),
    ("length_m", "Length of an aisle [m]", 1, 1000, "any", 1),
    ("luminaires", "Luminaires in an aisle", 1, 1000, "1", 1),
    ("watts", "Power of a luminaire [W]", 1, 5000, "any", 1),
    ("visits_per_h", "Visits an hour, whole site", 0, 100_000, "any", 1),
    ("busiest_share", "Share of the busiest fifth of aisles [%]", 20, 99, "any", 100),
    ("hours_per_week", "Hours a week", 1, 168, "any", 1),
    ("unoccupied_level", "Unoccupied level [%]", 0, 100, "any", 100),
    ("timeout_s", "Hold and timeout together [s]", 0, 86_400, "any", 1),
    ("price_per_kwh", "Price of a kWh", 0, 1000, "any", 1),
    ("cost_per_aisle", "Cost of controls for an aisle (for payback)", 0, 1_000_000, "any", 1),
)


def render_page(
    sources: Sequence[Source],
    replications: Sequence[int],
    *,
    tell: Callable[[int, int | None], None] = lambda done, expected: None,
) -> str:
    """Return the page.

    Parameters
    ----------
    sources : the site as it stands, then its variants
    replications : their numbers; of a measured log there is one
    tell : called with replications done and expected

    Returns
    -------
    HTML that fetches nothing.  The timeouts' sliders begin at 30 s, or at 45 or 60 s where the file would
    otherwise be larger than `MOST_BYTES`, never above a timeout in use

    Raises
    ------
    InputError : a site cannot be on the page
    """
    gathered = gather(sources, replications, tell)
    shortest = min(
        settings.timeout_s for source in sources for settings in source.scenario.lighting.settings.values()
    )
    for start in [start for start in LEAST_TIMEOUTS_S if start <= shortest] or [shortest]:
        text = _render(gathered, pack_page(gathered, replications, start))
        if len(text.encode()) <= MOST_BYTES:
            break
    return text


def _render(gathered: Sequence[Gathered], data: dict[str, Any]) -> str:
    """Fill the template."""
    first = gathered[0]
    scenario, layout = first.source.scenario, first.site.layout
    shown = data["variants"][0]["shown_aisles"]
    data["charts"] = chart_items(
        [layout.places[place] for place in shown], knows_visits=first.knows_visits
    )
    engine = joined(ENGINE)
    scripts = (_Script(Markup(bokeh_script()), False), _Script(Markup(joined(PAGE)), True))
    tariff, carbon = scenario.tariff, scenario.carbon
    return environment().get_template("page.html.j2").render(
        policy=policy([engine, *(script.text for script in scripts)]),
        style=Markup(file_text("page.css")),
        title=scenario.title,
        subtitle=_subtitle(first, len(data["replications"])),
        currency="" if tariff is None else tariff.currency,
        price=None if tariff is None else number_text(tariff.per_kwh),
        price_note=_price_note(scenario, data),
        carbon=None if carbon is None else number_text(carbon.g_per_kwh),
        carbon_note="" if carbon is None else f"{carbon.kind} factor of {carbon.year}, {carbon.source}",
        interval_note="Means over replications, ± half-width of the 95 % interval."
        if len(data["replications"]) > 1
        else "One history: no intervals.",
        has_intervals=len(data["replications"]) > 1,
        aisles_note="" if len(shown) == len(layout.places)
        else f"The {len(shown)} busiest of {len(layout.places)}.",
        knows_visits=first.knows_visits,
        whose="the log" if first.source.traffic is not None
        else f"replication {data['replications'][0]}",
        handling=number_text(HANDLING_S),
        drive=number_text(DRIVE_M_PER_S),
        quick_boxes=_quick_boxes(first),
        cautions=cautions(scenario, layout)[:3],
        provenance=", ".join(f"{name} {number}" for name, number in versions().items()),
        data=Markup(data_text(data)),
        engine=Markup(engine),
        scripts=scripts,
    )


def _price_note(scenario: Scenario, data: dict[str, Any]) -> str:
    """What the page does with a tariff."""
    if scenario.tariff is None:
        return ""
    if data["year"] is not None:
        return f"Energy is priced hour by hour over {data['year']['of']} as the scenario's tariff says."
    return "One price for all hours here; the report knows the whole tariff."


def _subtitle(first: Gathered, replications: int) -> str:
    """What the figures rest on, in a line."""
    scenario = first.source.scenario
    how = "on a measured log" if first.source.traffic is not None else (
        f"on {count_of(replications, 'simulated run')} of {duration(scenario.duration_s)}"
    )
    return (
        f"Planning estimate, {how} from {moment(scenario.start_datetime)}. Move a setting: every figure is "
        "computed again on the same trucks, exactly."
    )


def _quick_boxes(first: Gathered) -> list[_Box]:
    """The form, filled with this site where it knows the numbers."""
    scenario, usual = first.source.scenario, QuickInputs()
    layout = first.site.layout
    lamps = scenario.luminaires
    known = {
        **{field.name: getattr(usual, field.name) for field in fields(usual)},
        "aisles": len(layout.aisles),
        "length_m": float(np.mean(layout.length_m)),
        "luminaires": lamps.per_aisle,
        "watts": lamps.full_w,
    }
    if scenario.tariff is not None:
        known["price_per_kwh"] = scenario.tariff.per_kwh
    return [
        _Box(name, label, number_text(float(known[name] * scale)), least, most, step, scale)
        for name, label, least, most, step, scale in _BOXES
    ]
