"""An instant or the worst spells in words.

Comes in: `Moment`s or `Spell`s.  Goes out: a `Page`.  Before: `study/explain`, `show/words/sections`; after:
`commands/ask`.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence

from sim.results import Result
from sim.show.words.amounts import day_label, digits, duration, percent
from sim.show.words.sections import Page, Section
from sim.study.explain import IN_THE_OPEN, Cure, Guest, Moment, Spell

__all__ = ["moment_page", "spells_page"]


def moment_page(result: Result, moments: Sequence[Moment]) -> Page:
    """Return the explanation of one instant, a section per zone."""
    start = result.scenario.start_datetime
    return Page(
        title=f"{moments[0].aisle}, {_when(start, moments[0].time)}",
        subtitle=f"{result.scenario.title}; {_source(result)}",
        sections=tuple(
            Section(one.zone if len(moments) > 1 else "", (), (), tuple(_sentences(start, one)))
            for one in moments
        ),
    )


def _source(result: Result) -> str:
    """Where the trucks come from."""
    if result.source == "replay":
        return "replay of a log"
    return f"seed {result.scenario.seed}, replication {result.replications[0]}"


def _when(start: dt.datetime, time: float) -> str:
    """An instant, to the second."""
    moment = start + dt.timedelta(seconds=time)
    return f"{day_label(moment)} {moment:%H:%M:%S}"


def _clock(start: dt.datetime, time: float, near: float) -> str:
    """An instant beside another one of the same run: the day only where it differs."""
    moment, other = (start + dt.timedelta(seconds=value) for value in (time, near))
    return f"{moment:%H:%M:%S}" if moment.date() == other.date() else _when(start, time)


def _sentences(start: dt.datetime, one: Moment) -> Iterator[str]:
    """Everything about one zone."""
    yield (
        f"The light is at {percent(one.level)}, the command is {'high' if one.is_high else 'low'}; a truck "
        f"should have {percent(one.occupied)}."
    )
    yield from _seen(start, one)
    yield _timers(one)
    if not math.isnan(one.low_since):
        why = "because the timetable changed" if one.is_by_border else "when the timers had run out"
        yield f"The command went low at {_clock(start, one.low_since, one.time)}, {why}."
    yield from _present(start, one)
    yield from _cures(one)


def _seen(start: dt.datetime, one: Moment) -> Iterator[str]:
    """What the sensors saw."""
    if math.isnan(one.last_end):
        yield "Until then the sensors had seen nothing."
    elif one.time < one.last_end:
        yield f"The sensors see motion, since {_clock(start, one.last_start, one.time)}."
    else:
        yield (
            f"The sensors last saw motion until {_clock(start, one.last_end, one.time)}, "
            f"{duration(one.time - one.last_end)} before."
        )
    if math.isfinite(one.next_start):
        yield (
            f"They see the next motion at {_clock(start, one.next_start, one.time)}, "
            f"{duration(one.next_start - one.time)} later."
        )
    else:
        yield "They see nothing more until the end of the run."


def _timers(one: Moment) -> str:
    """The timers in a row."""
    total = one.hold_s + one.timeout_s
    text = (
        f'Settings "{one.settings_name}": hold {duration(one.hold_s)} and timeout {duration(one.timeout_s)}, '
        f"together {duration(total)}"
    )
    if one.second_delay_s is not None:
        text += f", then the second delay of {duration(one.second_delay_s)}"
    return text + "."


def _present(start: dt.datetime, one: Moment) -> Iterator[str]:
    """Who was there."""
    if not one.guests:
        yield "No truck is in the aisle, as far as is known."
    for guest in one.guests:
        yield _guest(start, one, guest)


def _guest(start: dt.datetime, one: Moment, guest: Guest) -> str:
    """One truck."""
    bay = "" if math.isnan(guest.bay_m) else f", at {guest.bay_m:.1f} m"
    who = f"{guest.truck or 'A truck'} is in the aisle"
    if guest.task == IN_THE_OPEN:
        who = "A truck or somebody on foot is there"
    text = (
        f"{who} ({guest.task}{bay}) from "
        f"{_clock(start, guest.enter, one.time)} to {_clock(start, guest.leave, one.time)}"
    )
    if not one.last_end >= guest.enter:
        return (
            f"{text}. It has not been seen since it came in: a longer timeout helps only by what was seen "
            "before it; the cure is a sensor that sees it."
        )
    return f"{text}; the longest time without any motion seen is {duration(guest.unseen_s)}."


def _cures(one: Moment) -> Iterator[str]:
    """What would have kept the light up."""
    if one.now is None and not one.is_high:
        yield "Nothing had been detected before: no timeout would have kept the light up."
    if one.now is not None:
        yield f"Up at this instant: {_cure(one.now, one)}"
    if one.visit is not None and one.visit.offered_s != (one.now.offered_s if one.now else None):
        yield f"Up through the whole visit: {_cure(one.visit, one)}"


def _cure(cure: Cure, one: Moment) -> str:
    """A timeout and its price."""
    text = f"a timeout of {duration(cure.needed_s)} or more"
    if cure.offered_s != cure.needed_s:
        text += f" (usual: {duration(cure.offered_s)})"
    if math.isnan(cure.aisle_kwh):
        return text + "; its price is not known without a new simulation, because drivers react to the light."
    return (
        f"{text}; {duration(cure.offered_s)} costs {digits(cure.aisle_kwh)} kWh a year in {one.aisle} alone, "
        f'{digits(cure.site_kwh)} kWh wherever "{one.settings_name}" holds (from this one replication).'
    )


def spells_page(result: Result, spells: Sequence[Spell], where: str | None, folder: str) -> Page:
    """Return the worst dim spells as a table; `folder` is where they come from."""
    start = result.scenario.start_datetime
    rows = tuple(
        (
            _when(start, spell.start),
            spell.aisle,
            spell.truck,
            spell.task,
            duration(spell.end - spell.start),
            percent(spell.least_level),
        )
        for spell in spells
    )
    remarks = ("No visit was in too little light.",)
    if spells:
        first = start + dt.timedelta(seconds=math.ceil(spells[0].start))
        remarks = (
            f'aislewake explain {folder} {spells[0].aisle} --at '
            f'"{first.isoformat(timespec="seconds")}" says why.',
        )
    return Page(
        title=f"Worst dim spells{f' in {where}' if where else ''}",
        subtitle=f"{result.scenario.title}; {_source(result)}",
        sections=(Section("", ("from", "aisle", "truck", "task", "dim for", "down to"), rows, remarks),),
    )
