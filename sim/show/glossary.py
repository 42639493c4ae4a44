"""The words of the report, each in a sentence.

Comes in: nothing.  Goes out: rows for the report.  Terms are the trade's own; what is this program's own
count says so.
"""

from __future__ import annotations

__all__ = ["GLOSSARY"]

GLOSSARY: tuple[tuple[str, str], ...] = (
    (
        "bay",
        "A place along an aisle, told by its distance from the front mouth.",
    ),
    (
        "command",
        "What the controller asks of a zone: high (the occupied level) or low.",
    ),
    (
        "control zone",
        "Luminaires that change level together: an aisle, a part of one, aisles that share, or an area.",
    ),
    (
        "detection",
        "A stretch of time in which at least one sensor of a zone sees motion.",
    ),
    (
        "dim entry",
        "A truck goes into a zone whose command is low just before.",
    ),
    (
        "dim truck-time",
        "Time that trucks spend in a zone below its occupied level.",
    ),
    (
        "fade",
        "The way from one level to another, in a straight line over a stated time.",
    ),
    (
        "false-off",
        "The lights go down on a timeout while a truck is still in the zone.",
    ),
    (
        "hold",
        "How long a sensor goes on reporting after the last motion; it comes before the timeout.",
    ),
    (
        "latency",
        "From motion to the command: sensor and network together.",
    ),
    (
        "level",
        "Share of full light output, not of power.",
    ),
    (
        "lit empty",
        "Time at high with no truck in the zone: what there still is to win.",
    ),
    (
        "occupied, unoccupied level",
        "The level while the zone is held, and the one afterwards.",
    ),
    (
        "replication",
        "One run of the whole span with random numbers of its own.",
    ),
    (
        "second delay",
        "So long after the first change to low the level falls once more.",
    ),
    (
        "shortfall",
        "Dim truck-time weighted by the share of light that is missing.",
    ),
    (
        "switch-up, switch-down",
        "A command to high by a detection; a command to low by a timeout.",
    ),
    (
        "timeout",
        "The controller's time delay: how long the light stays high after the hold has ended.",
    ),
    (
        "timetable",
        "The week: which settings hold in which hours, with exception dates.",
    ),
    (
        "visit",
        "One truck or person in one aisle, from crossing the mouth to leaving it.",
    ),
)
