"""What `aislewake new` asks: each question with its unit, its range and its usual answer.

Comes in: texts that a person wrote, aisles from a list.  Goes out: `Answers`, or all faults.  Nothing is
printed and no file is read here.  Before: `scenario/working_hours`; after: `scenario/new_site`, which turns
answers into a scenario file.  Light on purpose: the command's help is made from `QUESTIONS`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sim.errors import Fault, InputError
from sim.scenario.working_hours import read_hours
from sim.wording import nearest_text, printable

__all__ = [
    "QUESTIONS", "AisleRow", "Answers", "Question", "Value", "fill_in", "listed_keys", "usual_answer",
]

Value = str | int | float

_LUMINAIRE_SPACING_M = 6.0
_AISLES_PER_DOOR = 2.5
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_LONGEST_TITLE = 200


@dataclass(frozen=True)
class AisleRow:
    """One aisle.

    Attributes
    ----------
    name : of the aisle
    length_m : mouth to mouth [m]
    luminaires, watts : how many, and the power of each [W]; None where a list does not say
    circuit, zone : what feeds it, and the control zone it is wired to; "" where a list does not say
    """

    name: str
    length_m: float
    luminaires: int | None = None
    watts: float | None = None
    circuit: str = ""
    zone: str = ""


@dataclass(frozen=True)
class Question:
    """One question, the same on a terminal and as an option.

    Attributes
    ----------
    key : name of the answer; the option is the same with dashes
    words : the question
    unit : "" for none
    default : usual answer; None where it follows from other answers
    least, most : range of a number, None for text
    is_whole : a whole number
    choices : the words allowed; none for free text
    is_asked : whether a terminal asks; otherwise it is an option only
    """

    key: str
    words: str
    unit: str
    default: Value | None
    least: float | None = None
    most: float | None = None
    is_whole: bool = False
    choices: tuple[str, ...] = ()
    is_asked: bool = True

    @property
    def option(self) -> str:
        """The option's name on the command line."""
        return "--" + self.key.replace("_", "-")

    @property
    def range_text(self) -> str:
        """What is allowed of a number, in words."""
        kind = "whole number" if self.is_whole else "number"
        return f"a {kind} from {self.least:g} to {self.most:g}" + (f" [{self.unit}]" if self.unit else "")

    def read(self, text: str) -> Value:
        """Turn a text into an answer.

        Raises
        ------
        ValueError : it is none; the message says what is allowed
        """
        text = text.strip()
        if self.least is None or self.most is None:
            return self._read_words(text)
        shown = printable(text) or "nothing"
        if _DECIMAL_COMMA.fullmatch(text):
            raise ValueError(f"{shown}: write decimals with a point")
        if not _NUMBER.fullmatch(text):
            raise ValueError(f"{shown} is not a number; allowed: {self.range_text}")
        number = float(text)
        if not self.least <= number <= self.most or (self.is_whole and number != int(number)):
            raise ValueError(f"{shown} is not allowed; allowed: {self.range_text}")
        return int(number) if self.is_whole else number

    def _read_words(self, text: str) -> str:
        """Check a text."""
        if self.choices:
            if text not in self.choices:
                raise ValueError(f'there is no "{printable(text)}"{nearest_text(text, self.choices)}')
        elif self.key == "shifts":
            read_hours(text)
        elif not text or text[0] in "=+-@" or not text.isprintable() or len(text) > _LONGEST_TITLE:
            raise ValueError(
                f'"{printable(text)}" is no title; allowed: one line of 1 to {_LONGEST_TITLE} characters '
                "that does not begin with =, +, - or @"
            )
        return text


QUESTIONS: tuple[Question, ...] = (
    Question("title", "Name of the site, for the report", "", "My site"),
    Question("aisles", "Aisles, side by side", "", 20, 1, 2000, is_whole=True),
    Question("aisle_length_m", "Length of an aisle, mouth to mouth", "m", 60.0, 3, 1000),
    Question("per_aisle", "Luminaires in one aisle", "", None, 1, 2000, is_whole=True),
    Question("full_w", "Power of one luminaire at full light", "W", 100.0, 1, 5000),
    Question("sensors", "Sensors at the ends of each aisle, or on every luminaire", "", "ends",
             choices=("ends", "every")),
    Question("hold_s", "Sensors' own hold time, before the timeout starts", "s", 60.0, 0, 3600),
    Question("shifts", "Shifts", "", "Mon-Fri 06:00-14:00 14:00-22:00"),
    Question("truck_type", "Type of truck", "", "reach",
             choices=("reach", "counterbalance", "turret", "order-picker", "pallet-truck")),
    Question("trucks", "Trucks at work in each shift", "", 8, 1, 1000, is_whole=True),
    Question("moves_per_hour", "Pallets moved an hour, into and out of the aisles", "", 80.0, 0.1, 20_000),
    Question("busiest_share", "Share of these in the busiest fifth of the aisles", "0 to 1", 0.5, 0.2, 0.95),
    Question("unoccupied_level", "Working hours: light level after the timeout", "0 to 1", 0.3, 0, 1),
    Question("timeout_s", "Working hours: timeout, after the hold time", "s", 600.0, 5, 86_400),
    Question("closed_level", "Nights and days off: light level after the timeout", "0 to 1", 0.2, 0, 1),
    Question("closed_timeout_s", "Nights and days off: timeout, after the hold time", "s", 300.0, 5, 86_400),
    Question("occupied_level", "Light level while motion is seen", "0 to 1", 1.0, 0.05, 1, is_asked=False),
    Question("dock_doors", "Dock doors, evenly along the front", "", None, 1, 1000, is_whole=True,
             is_asked=False),
)
"""In the order in which they are asked.  The usual answers are common practice and have no source."""

_BY_KEY = {question.key: question for question in QUESTIONS}


@dataclass(frozen=True)
class Answers:
    """All answers, checked.

    Attributes
    ----------
    title : of the site
    rows : the aisles from the dock corner
    per_aisle, full_w : luminaires in an aisle and power of each [W], where a row does not say otherwise
    sensors : "ends" or "every"
    hold_s : the sensors' own hold time [s]
    shifts : days and hours, as `scenario/working_hours` reads them
    truck_type, trucks : which, and how many work at once
    moves_per_hour : putaways and retrievals together [1/h]
    busiest_share : share of them in the busiest fifth of the aisles
    occupied_level, unoccupied_level, timeout_s : in working hours; the first also outside [-], [-], [s]
    closed_level, closed_timeout_s : in the rest of the week [-], [s]
    dock_doors : along the front
    is_list : whether the aisles come from a list
    assumed : keys of questions that nobody answered
    """

    title: str
    rows: tuple[AisleRow, ...]
    per_aisle: int
    full_w: float
    sensors: str
    hold_s: float
    shifts: str
    truck_type: str
    trucks: int
    moves_per_hour: float
    busiest_share: float
    occupied_level: float
    unoccupied_level: float
    timeout_s: float
    closed_level: float
    closed_timeout_s: float
    dock_doors: int
    is_list: bool
    assumed: frozenset[str]


def listed_keys(rows: Sequence[AisleRow]) -> frozenset[str]:
    """Return the keys of the questions that a list of aisles answers.

    >>> sorted(listed_keys([AisleRow("A", 60.0, watts=100.0)]))
    ['aisle_length_m', 'aisles', 'full_w']
    """
    if not rows:
        return frozenset()
    keys = {"aisles", "aisle_length_m"}
    keys |= {"per_aisle"} if rows[0].luminaires is not None else set()
    return frozenset(keys | ({"full_w"} if rows[0].watts is not None else set()))


def usual_answer(key: str, given: Mapping[str, Value], rows: Sequence[AisleRow] = ()) -> Value:
    """Return the usual answer to a question, which may follow from answers given before.

    Examples
    --------
    >>> usual_answer("timeout_s", {}), usual_answer("per_aisle", {"aisle_length_m": 90.0})
    (600.0, 15)
    """
    default = _BY_KEY[key].default
    if key in ("unoccupied_level", "closed_level") and default is not None:
        return min(float(default), float(given.get("occupied_level", 1.0)))
    if default is not None:
        return default
    if key == "per_aisle":
        longest = max((row.length_m for row in rows), default=_number("aisle_length_m", given))
        return _usual_luminaires(longest)
    return min(1000, max(1, round((len(rows) or _number("aisles", given)) / _AISLES_PER_DOOR)))


def _usual_luminaires(length_m: float) -> int:
    """One luminaire every few metres."""
    return min(2000, max(1, round(length_m / _LUMINAIRE_SPACING_M)))


def _number(key: str, given: Mapping[str, Value]) -> float:
    """An answer that is a number, or the usual one."""
    return float(given.get(key, _BY_KEY[key].default or 0.0))


def fill_in(given: Mapping[str, Value], rows: Sequence[AisleRow] = ()) -> Answers:
    """Return all answers: those given, and the usual ones for the others.

    Parameters
    ----------
    given : answers by key, as `Question.read` returns them
    rows : the aisles, where a list gives them; then `given` has neither aisles nor aisle_length_m

    Raises
    ------
    InputError : answers that contradict each other
    """
    values: dict[str, Any] = {
        key: given[key] if key in given else usual_answer(key, given, rows) for key in _BY_KEY
    }
    length_m, count = float(values.pop("aisle_length_m")), int(values.pop("aisles"))
    listed = listed_keys(rows)
    aisles = tuple(rows) or tuple(AisleRow(f"A{number:02d}", length_m) for number in range(1, count + 1))
    if rows and "per_aisle" not in {*given, *listed}:
        aisles = tuple(replace(row, luminaires=_usual_luminaires(row.length_m)) for row in rows)
    answers = Answers(
        **values,
        rows=aisles,
        is_list=bool(rows),
        assumed=frozenset(_BY_KEY) - frozenset(given) - listed,
    )
    faults = [
        Fault(
            "", None, _BY_KEY[key].option,
            f"{getattr(answers, key):g} is above --occupied-level {answers.occupied_level:g}; "
            "allowed: at most that",
        )
        for key in ("unoccupied_level", "closed_level")
        if getattr(answers, key) > answers.occupied_level
    ]
    if faults:
        raise InputError(faults)
    return answers
