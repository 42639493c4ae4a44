"""Commands for whoever shows results to others: page, estimate.

Comes in: words from a terminal.  Goes out: one HTML file, text.  Before: `study`, `show`; after: `cli`, which
registers them.  Heavy libraries are imported inside the commands.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sim.commands.shared import complete_scenarios, json_option, tell_json, written
from sim.errors import InputError, MachineError
from sim.terminal import CONTEXT, progress_told

if TYPE_CHECKING:
    from sim.show.page.data import Source

__all__ = ["estimate", "page"]


@click.command(context_settings=CONTEXT, short_help="Write one HTML file with sliders, to mail.")
@click.argument("site", shell_complete=complete_scenarios)
@click.option(
    "--variant",
    "variants",
    multiple=True,
    metavar="NAME=FILE",
    help="Another scenario to choose on the page, such as every=every.toml; once for each.",
)
@click.option(
    "--replications", type=click.IntRange(min=1), help="So many; by default the scenario's or the folder's."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("what-if.html"),
    show_default=True,
    help="File to write.",
)
@click.option("--force", is_flag=True, help="Replace an existing file.")
def page(site: str, variants: Sequence[str], replications: int | None, out: Path, force: bool) -> None:
    """Write a page on which timeouts and levels can be moved, from SITE: a scenario, or a results folder.

    The file needs no network, no server and no other file. Energy, demand, dim light and switching are
    computed in it on the simulated trucks, exactly, at every position of the sliders; two settings can be
    pinned and compared, copied for the scenario file, and printed on one page.

    A variant is the same week with other sensors, zones or trucks: settings of the same names, same start and
    days. The sliders begin with SITE's settings. Each variant adds half a megabyte or more.

    \b
    Examples:
      aislewake page pallet-reserve --out what-if.html
      aislewake page my-site.toml --variant every=sensors-every.toml \\
          --replications 5
    """
    from sim.scenario.toml import load
    from sim.show.page.data import Source
    from sim.show.page.write import MOST_BYTES, render_page

    if out.exists() and not force:
        raise InputError(f"{out}: exists already; choose another --out, or --force to replace it")
    first, numbers = _first_source(site, replications)
    sources = [first]
    for text in variants:
        name, equals, file = text.partition("=")
        if not equals or not name.strip() or not file.strip():
            raise InputError(f"--variant {text}: write NAME=FILE, such as every=sensors-every.toml")
        if first.traffic is not None:
            raise InputError("--variant: a measured log has no variants; give a scenario")
        sources.append(Source(name.strip(), load(file.strip())))
    with progress_told() as tell:
        text = render_page(sources, numbers, tell=tell)
    data = text.encode("utf-8")
    try:
        out.write_bytes(data)
    except OSError as error:
        raise MachineError(f"{out}: {error.strerror or error}") from error
    written(out)
    click.echo(f"Wrote {out}, {len(data) / 1e6:.1f} MB: open it in a browser, or mail it.")
    if len(data) > MOST_BYTES:
        click.echo("It is large for a mail: fewer --replications or variants make it smaller.")


def _first_source(site: str, replications: int | None) -> tuple[Source, list[int]]:
    """Return the site as it stands, and the numbers of its replications."""
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load
    from sim.show.page.data import Source
    from sim.study.store import is_results_folder, read_stored_run

    path = Path(site)
    if not is_results_folder(path):
        scenario = load(find_scenario(site))
        return Source("as planned", scenario), list(range(replications or scenario.replications))
    stored = read_stored_run(path)
    if stored.source == "run":
        if replications is not None and replications > len(stored.replications):
            raise InputError(
                f"--replications {replications}: {site} holds {len(stored.replications)}; give its scenario "
                "file to simulate more"
            )
        return Source("as run", stored.scenario), list(stored.replications[:replications])
    from sim.replication import Traffic, hear_seen, prepare_site
    from sim.study.replications.replicate import replay

    visits = path / "visits.csv"
    look = replay(
        stored.scenario,
        detections=path / "detections.csv",
        visits=visits if visits.is_file() else None,
        sort=True,
    ).close_look
    heard = hear_seen(prepare_site(stored.scenario), look.detections, None)
    return Source("as measured", stored.scenario, Traffic(look.visits, look.stays, heard, 0)), [0]


def _number(name: str, text: str, default: float, least: float, most: float) -> Callable[[Any], Any]:
    """An option for one of the ten numbers."""
    return click.option(
        f"--{name}", type=click.FloatRange(least, most), default=default, show_default=True, help=text
    )


@click.command(context_settings=CONTEXT, short_help="Estimate a saving from ten numbers.")
@click.option(
    "--aisles", type=click.IntRange(1, 100_000), default=24, show_default=True, help="How many aisles."
)
@_number("length", "Length of an aisle [m].", 70.0, 1.0, 1000.0)
@click.option(
    "--luminaires", type=click.IntRange(1, 5000), default=12, show_default=True, help="In one aisle."
)
@_number("watts", "Power of one luminaire [W].", 110.0, 0.1, 10_000.0)
@_number("visits", "Visits an hour, all aisles together.", 100.0, 0.0, 1e6)
@_number("busiest", "Share of the visits in the busiest fifth of the aisles.", 0.5, 0.2, 0.99)
@_number("hours", "Hours a week in which the lights would be on.", 96.0, 0.1, 168.0)
@_number("level", "Unoccupied level, share of full power.", 0.3, 0.0, 1.0)
@_number("timeout", "Hold and timeout together [s].", 360.0, 0.0, 86_400.0)
@_number("price", "Price of a kWh.", 0.2, 0.0, 1e6)
@_number("cost", "Cost of the controls of one aisle, for the payback; 0: not known.", 0.0, 0.0, 1e9)
@json_option
def estimate(
    aisles: int,
    length: float,
    luminaires: int,
    watts: float,
    visits: float,
    busiest: float,
    hours: float,
    level: float,
    timeout: float,
    price: float,
    cost: float,
    as_json: bool,
) -> None:
    """Estimate what dimming saves on a site of which ten numbers are known; nothing is simulated.

    Each aisle is a light held by trucks that come at random, busy aisles more than quiet ones. The same
    estimate stands at the foot of every page that `aislewake page` writes.

    \b
    Examples:
      aislewake estimate --aisles 40 --visits 150 --busiest 0.6
      aislewake estimate --timeout 600 --level 0.2 --cost 900
      aislewake estimate --aisles 40 --json
    """
    from sim.show.words.quick import estimate_page
    from sim.show.words.sections import page_text
    from sim.study.quick import QuickInputs

    inputs = QuickInputs(
        aisles=aisles,
        length_m=length,
        luminaires=luminaires,
        watts=watts,
        visits_per_h=visits,
        busiest_share=busiest,
        hours_per_week=hours,
        unoccupied_level=level,
        timeout_s=timeout,
        price_per_kwh=price,
        cost_per_aisle=cost,
    )
    if as_json:
        from sim.show.as_json.ask import estimate_json

        tell_json(estimate_json(inputs))
    else:
        click.echo(page_text(estimate_page(inputs)))
