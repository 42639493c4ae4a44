"""A rebate worksheet in lines: for CSV, a page and a terminal.

Comes in: a `Worksheet`.  Goes out: `SheetLine`s, `Page`.  Before: `verification/worksheet`; after:
`show/folders/worksheet`, `commands/proof`.  What a code forces anyway is struck out: it is shown and does not
count.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from sim.outcome.credits import SUMMER_COINCIDENCE
from sim.outcome.en15193 import calculate_en15193
from sim.results import Estimate
from sim.show.folders.whole import number_text
from sim.show.words.amounts import count_of, digits, interval, plain
from sim.show.words.en15193 import EN15193_SOURCE, en15193_remark, en15193_rows
from sim.show.words.sections import Page, Section
from sim.verification.worksheet import Base, BaseName, MeasureName, Worksheet

__all__ = [
    "SHEET_HEADER", "SheetLine", "sheet_csv", "sheet_lines", "sheet_notices", "sheet_page", "sheet_remarks",
    "sheet_subtitle",
]

SHEET_HEADER = ("section", "line", "value", "half_width", "unit", "counts", "method", "source")
BASE_WORDS: dict[BaseName, str] = {
    "today": "today", "always_on": "always on", "schedule_only": "schedule only", "code_minimum": "code "
    "minimum",
}
MEASURE_WORDS: dict[MeasureName, str] = {
    "lamps": "new lamps in today's hours",
    "trim": "trim to the highest occupied level",
    "timetable": "timetable of occupied levels",
    "daylight": "daylight under skylights",
    "sensors": "sensors: timeouts and low levels",
}
_SIMULATED = "simulated, on the same traffic"
_HOURS = "kWh over connected kW (UMP chapter 3, from memory)"
_FACTOR = "1 - hours after / hours before (UMP chapter 3, from memory)"


@dataclass(frozen=True)
class SheetLine:
    """One line of the sheet.

    Attributes
    ----------
    section : heading
    what : name of the figure
    estimate : its value, with an interval where it is simulated
    unit : "share" for shares, "x" for factors that multiply
    is_struck : shown, and does not count
    method : how it came about
    source : of an agreed number
    """

    section: str
    what: str
    estimate: Estimate
    unit: str
    is_struck: bool = False
    method: str = ""
    source: str = ""

    @property
    def text(self) -> str:
        """The value in words; figures without chance in them have no interval."""
        mean, half = self.estimate.mean or 0.0, self.estimate.half_width
        if half is not None and half <= 1e-9 * abs(mean):
            return SheetLine(self.section, self.what, Estimate(mean, None), self.unit).text
        if self.unit == "share":
            return interval(self.estimate, "%", 100.0)
        return interval(self.estimate, "" if self.unit == "x" else self.unit)


def _line(
    section: str, what: str, value: float, unit: str, *, method: str = "", source: str = ""
) -> SheetLine:
    """A line without an interval."""
    return SheetLine(section, what, Estimate(value, None), unit, method=method, source=source)


def sheet_lines(sheet: Worksheet) -> tuple[SheetLine, ...]:
    """Return every line, in order."""
    return (
        *_load_lines(sheet), *_measure_lines(sheet), *_base_lines(sheet), *_claim_lines(sheet),
        *_deemed_lines(sheet), *_calculated_lines(sheet),
    )


def _load_lines(sheet: Worksheet) -> Iterator[SheetLine]:
    """Connected load and energy."""
    section = "Lights"
    today = sheet.scenario.today
    if today is not None:
        kw = today.luminaires * today.full_w / 1000.0
        told = f"{count_of(today.luminaires, 'luminaire')} of {plain(today.full_w)} W"
        yield _line(section, "connected load today", kw, "kW", method=told, source=today.source)
        yield _line(section, "hours today", today.hours_per_year, "h", source=today.source)
        yield _line(
            section, "share that today's controls save", today.savings_factor, "share",
            method=f"controls: {today.controls}", source=today.source,
        )
    told = "luminaires at full level"
    yield _line(section, "connected load as proposed", sheet.connected_kw, "kW", method=told)
    yield _line(section, "of it dimmed", sheet.controlled_kw, "kW", method="without those that never dim")
    if sheet.heat_factor != 1.0:
        told = "heat that is pumped out of the store: 1 + 1/COP, in every energy below"
        yield _line(section, "each kWh of light counts", sheet.heat_factor, "x", method=told)
    yield SheetLine(section, "energy of a year as proposed", sheet.kwh, "kWh", method=_SIMULATED)


def _measure_lines(sheet: Worksheet) -> Iterator[SheetLine]:
    """Factors that multiply."""
    section = "Measures, each on what the ones before it leave"
    product = 1.0
    for measure in sheet.measures:
        name = MEASURE_WORDS[measure.name]
        told = "kW as proposed over kW today" if measure.name == "lamps" else _SIMULATED
        yield SheetLine(section, f"{name}: factor left", measure.left, "x", method=told)
        yield SheetLine(section, f"{name}: energy of a year", measure.kwh, "kWh", method=told)
        product *= measure.left.mean or 0.0
    yield _line(
        section, "all together: factor left", product, "x", method="the product; savings are never added"
    )


def _base_lines(sheet: Worksheet) -> Iterator[SheetLine]:
    """Each baseline, and the saving against it."""
    for base in sheet.bases:
        section = f"Against {BASE_WORDS[base.name]}"
        told = "kW x hours x (1 - saved by controls)" if base.name == "today" else _SIMULATED
        yield SheetLine(section, "energy of a year", base.kwh, "kWh", method=told)
        yield _line(section, "equivalent full-load hours before", base.hours_before, "h", method=_HOURS)
        yield _line(section, "equivalent full-load hours after", base.hours_after, "h", method=_HOURS)
        yield SheetLine(section, "control savings factor", base.factor, "share", method=_FACTOR)
        told = _saved_method(base)
        yield SheetLine(section, "saved in a year", base.saved_kwh, "kWh", base.is_struck, method=told)
        if base.window_kw is not None:
            yield SheetLine(
                section, "saved load in the utility's window", base.window_kw, "kW", base.is_struck,
                method="mean over the window of demand_window",
            )


def _saved_method(base: Base) -> str:
    """How a saving came about, and why it is struck out."""
    if base.is_struck:
        return "struck out: part of it is forced by code anyway"
    return "energy before less energy as proposed, paired"


def _claim_lines(sheet: Worksheet) -> Iterator[SheetLine]:
    """What counts, over a year and over the measure's life."""
    section = "What counts"
    rebate = sheet.scenario.rebate
    named = "always on"
    if sheet.lamps_kwh is not None:
        named = "new lamps in today's hours"
        told = "a measure of its own; energy today less that of new lamps in the same hours"
        yield SheetLine(section, "saved in a year by new lamps", sheet.lamps_kwh, "kWh", method=told)
    if sheet.forced_kwh is not None:
        yield SheetLine(
            section, f"from {named} to the code minimum", sheet.forced_kwh, "kWh", True,
            method="struck out: the code forces it anyway (half the power 20 minutes after the last motion)",
        )
        what = "beyond the code minimum"
    else:
        what = f"against {named}"
    what = f"saved in a year by controls, {what}"
    yield SheetLine(section, what, sheet.counted_kwh, "kWh", method=_SIMULATED)
    if rebate is None:
        return
    if rebate.measure_life_years is not None:
        yield _line(
            section, "measure life", rebate.measure_life_years, "years",
            source=rebate.measure_life_years_source or "",
        )
    if rebate.net_to_gross is not None:
        source = rebate.net_to_gross_source or ""
        yield _line(section, "net over gross", rebate.net_to_gross, "x", source=source)
    if sheet.lifetime_kwh is not None:
        told = "saved in a year x measure life"
        if rebate.net_to_gross is not None:
            told = f"{told} x net over gross"
        what = "saved by controls over the measure's life"
        yield SheetLine(section, what, sheet.lifetime_kwh, "kWh", method=told)


def _deemed_lines(sheet: Worksheet) -> Iterator[SheetLine]:
    """Agreed savings, and how far they lie from the simulated one."""
    rebate = sheet.scenario.rebate
    coincidence, source = SUMMER_COINCIDENCE, "summer, assessment centre handbook"
    if rebate is not None and rebate.coincidence is not None:
        coincidence, source = rebate.coincidence, rebate.coincidence_source or ""
    for deemed in sheet.deemed:
        section = f"Deemed: {deemed.name}, {plain(deemed.factor)}"
        told = f"kW that dim x {digits(deemed.hours)} h x (factor - factor of today's controls)"
        yield _line(section, "saved in a year", deemed.kwh, "kWh", method=told, source=deemed.source)
        yield _line(
            section, "more than the controls save here", deemed.over, "kWh",
            method="deemed less simulated; negative: less than simulated",
        )
        yield _line(
            section, "saved load at the peak", deemed.kw, "kW", method=f"x coincidence {plain(coincidence)}",
            source=source,
        )


def _calculated_lines(sheet: Worksheet) -> Iterator[SheetLine]:
    """The energy that EN 15193 calculates, beside the simulated one."""
    section = "Calculated by EN 15193, beside the simulation"
    for what, value, unit, how in en15193_rows(calculate_en15193(sheet.scenario)):
        yield _line(section, what, value, unit, method=how, source=EN15193_SOURCE)


def sheet_csv(sheet: Worksheet) -> Iterator[tuple[str, ...]]:
    """Yield the rows of worksheet.csv."""
    for line in sheet_lines(sheet):
        half = line.estimate.half_width
        yield (
            line.section,
            line.what,
            number_text(float(line.estimate.mean or 0.0)),
            "" if half is None else number_text(half),
            line.unit,
            "no" if line.is_struck else "yes",
            line.method,
            line.source,
        )


def sheet_subtitle(sheet: Worksheet) -> str:
    """Say what the sheet rests on."""
    how = "a replayed log" if sheet.source == "replay" else count_of(sheet.replications, "replication")
    return (
        f"Rebate worksheet: planning estimate for {sheet.year} from {how} of "
        f"{count_of(sheet.weeks, 'week')} laid over the calendar"
    )


def sheet_notices(sheet: Worksheet) -> tuple[str, ...]:
    """What a reader must know first."""
    said = []
    rebate = sheet.scenario.rebate
    if sheet.scenario.today is None:
        said.append(
            "What is there today is not stated ([today]), so that the saving stands against lights that are "
            "always on."
        )
    if rebate is None:
        said.append(
            "No [rebate] table: measure life, net over gross and the programme's own numbers are open, and a "
            "code is taken to apply."
        )
    counted = sheet.counted_kwh.mean or 0.0
    if counted <= 0.0:
        said.append("Nothing counts: the controls save no more than what they are set against.")
    return tuple(said)


def sheet_remarks(sheet: Worksheet) -> tuple[str, ...]:
    """Sentences below the sheet."""
    return (
        "Intervals are 95 % over replications. A simulated saving is an estimate; after commissioning a "
        "meter shows the saving (aislewake verify).",
        "Deemed factors are agreed numbers for an average site; the handbook's occupancy factor is 0.24. The "
        "programme decides which of these figures it takes.",
        en15193_remark(calculate_en15193(sheet.scenario)),
    )


def sheet_page(sheet: Worksheet) -> Page:
    """Return the sheet as a page for a terminal; figures that do not count stand in brackets."""
    sections = []
    for name, lines in groupby(sheet_lines(sheet), key=lambda line: line.section):
        rows = tuple((line.what, f"[{line.text}]" if line.is_struck else line.text) for line in lines)
        sections.append(Section(name, rows=rows))
    remarks = ("Figures in brackets are forced by code anyway and do not count.", *sheet_remarks(sheet))
    return Page(
        title=sheet.scenario.title,
        subtitle=sheet_subtitle(sheet),
        sections=(*sections, Section("", remarks=remarks)),
        notices=sheet_notices(sheet),
    )
