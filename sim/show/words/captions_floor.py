"""What to see in the pictures of plan, gaps and work, in words.

Comes in: their numbers.  Goes out: text.  Before: `show/numbers/plan`, `show/numbers/gaps`,
`show/numbers/work`; after: `show/words/captions`.
"""

from __future__ import annotations

from sim.show.numbers.gaps import GapNumbers
from sim.show.numbers.plan import PlanNumbers, PlanSensor
from sim.show.numbers.work import WorkNumbers
from sim.show.words.amounts import count_of, digits, duration, listing, percent

__all__ = ["gap_words", "plan_words", "work_words"]

MOST_NAMED = 3


def plan_words(numbers: PlanNumbers) -> str:
    """Say how to read the plan, and how much of the aisles no sensor sees."""
    covered = sum(_covered_m(aisle.sensors) for row in numbers.rows for aisle in row.aisles)
    length = sum(aisle.length_m for row in numbers.rows for aisle in row.aisles)
    text = (
        "As the scenario says it, the docks in front. A heavy line beside the luminaires is what the aisle's "
        f"sensors see of moving trucks, {percent(covered / length, 2)} of the aisles' length; where it is "
        "missing, nothing is seen."
    )
    if any(row.areas for row in numbers.rows):
        text += " In open areas a ring is what a sensor sees; their luminaires are drawn evenly spread."
    shared: dict[str, list[str]] = {}
    for aisle in (aisle for row in numbers.rows for aisle in row.aisles if aisle.zone):
        shared.setdefault(aisle.zone, []).append(aisle.name)
    if shared:
        named = list(shared.items())[:MOST_NAMED]
        joined = "; ".join(f"{zone} ({listing(aisles, 4)})" for zone, aisles in named)
        more = f" and {len(shared) - MOST_NAMED} more" if len(shared) > MOST_NAMED else ""
        text += f" Aisles joined above share one zone: {joined}{more}."
    if len(numbers.rows) > 1:
        text += f" The floor is folded into {len(numbers.rows)} rows, to be read from the top."
    return text + (f" {count_of(numbers.left_out, 'aisle')} more are not drawn." if numbers.left_out else "")


def _covered_m(sensors: tuple[PlanSensor, ...]) -> float:
    """Length that some sensor sees."""
    covered, until = 0.0, 0.0
    for near, far in sorted((one.from_m, one.to_m) for one in sensors if not one.is_dead):
        covered += max(0.0, far - max(near, until))
        until = max(until, far)
    return covered


def gap_words(numbers: GapNumbers) -> str:
    """Say what lies beyond each delay, and what another delay would do."""
    if not numbers.panels:
        return "No zone saw motion twice: there is no gap to show."
    parts = [
        f"{percent(panel.gaps_beyond, 2)} of the gaps and {percent(panel.idle_beyond, 2)} of the idle time "
        f"lie beyond the {duration(panel.delay_s)} of {panel.name}"
        for panel in numbers.panels[:MOST_NAMED]
    ]
    text = (
        "The whole trade-off: a gap runs from one motion of a zone to the next. Each gap longer than hold "
        "and timeout is one time down and one time up; the idle time beyond them is the time at low. "
        + "; ".join(parts)
        + ". Any other delay can be read off the curves: where the blue one is steep, the timeout matters; "
        "where it is flat, it does not."
    )
    if any(len(panel.aisle_share) > 1 for panel in numbers.panels):
        text += " Thin lines are single aisles, busy ones on the left, quiet ones on the right."
    if numbers.left_out:
        text += f" Not shown: {listing(numbers.left_out)}."
    text += " Time before a zone's first motion is left out"
    if numbers.silent_zones:
        return f"{text}, and so are {count_of(numbers.silent_zones, 'zone')} that saw none."
    return f"{text}."


def work_words(numbers: WorkNumbers) -> str:
    """Say how busy the trucks were and whether the work was done."""
    shares = [f"{name} {percent(share, 2)}" for name, share in numbers.utilisation.items()]
    text = (
        "Trucks at work, queues at mouths included, under those with a driver; below, the moves that have "
        f"come and are not begun. Busy share of the time with a driver: {', '.join(shares)}."
    )
    if numbers.left >= 0.5:
        return f"{text} At the end {digits(numbers.left)} moves were left undone: see whether that is meant."
    return f"{text} At the end all work was begun."
