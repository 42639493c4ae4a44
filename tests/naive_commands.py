"""The slow obvious twin, first half: one zone's command and its light, event by event.

Written from the meaning of the words alone (pure Python, no arrays), never from the program it checks.
Comes in: a scenario, one zone's detections.  Goes out: commands and straight pieces of actual level.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from sim.scenario.schema import Scenario

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def is_held(age: float, delay: float) -> bool:
    """Say whether a zone is still held at this age: an age of exactly the delay is."""
    return age <= delay


@dataclass(frozen=True)
class Period:
    """Settings in force from `begin` to `end`; `delay` is hold + timeout."""

    begin: float
    end: float
    occupied: float
    unoccupied: float
    delay: float
    second_delay: float | None
    second: float | None
    fade_up: float
    fade_down: float

    def values(self) -> tuple[object, ...]:
        """Return everything but the times."""
        return (self.occupied, self.unoccupied, self.delay, self.second_delay, self.second,
                self.fade_up, self.fade_down)


@dataclass(frozen=True)
class Command:
    """The command from `time` on; cause is start, up, down, second or border."""

    time: float
    state: str
    level: float
    cause: str
    period: Period


def clock_of(text: str) -> dt.timedelta:
    """Read HH:MM or HH:MM:SS, 24:00 included."""
    hours, minutes, seconds = [*(int(part) for part in text.split(":")), 0][:3]
    return dt.timedelta(hours=hours, minutes=minutes, seconds=seconds)


def periods_of(scenario: Scenario, aisle: str) -> list[Period]:
    """Walk the calendar day by day and write down which settings hold in one aisle, and when."""
    start, run_end = scenario.start_datetime, scenario.duration_s
    settings, hold = scenario.settings_of(aisle), scenario.sensors_of(aisle).hold_s
    found = []
    day = dt.datetime(start.year, start.month, start.day) - dt.timedelta(days=1)
    while (day - start).total_seconds() < run_end:
        for row in scenario.timetable:
            if WEEKDAYS[day.weekday()] not in row.days:
                continue
            opens, closes = day + clock_of(row.from_), day + clock_of(row.to)
            if closes <= opens:
                closes += dt.timedelta(days=1)
            begin = max(0.0, (opens - start).total_seconds())
            end = min(run_end, (closes - start).total_seconds())
            if begin < end:
                chosen = settings[row.settings]
                found.append(Period(
                    begin, end, chosen.occupied_level, chosen.unoccupied_level, hold + chosen.timeout_s,
                    chosen.second_delay_s, chosen.second_level, chosen.fade_up_s, chosen.fade_down_s,
                ))
        day += dt.timedelta(days=1)
    found.sort(key=lambda period: period.begin)
    joined = found[:1]
    for period in found[1:]:
        last = joined[-1]
        if period.values() == last.values():
            joined[-1] = Period(last.begin, period.end, *last.values())  # type: ignore[arg-type]
        else:
            joined.append(period)
    return joined


def unite(intervals: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Unite intervals that overlap or touch."""
    united: list[tuple[float, float]] = []
    for start, end in sorted(intervals):
        if united and start <= united[-1][1]:
            united[-1] = (united[-1][0], max(united[-1][1], end))
        else:
            united.append((start, end))
    return united


class ZoneController:
    """One zone's controller: the state, and what each kind of event does to it."""

    def __init__(self, periods: list[Period], latency: float) -> None:
        self.periods = periods
        self.latency = latency
        self.number = 0
        self.motion_end: float | None = None  # end of the latest motion that the command knows of
        self.due: float | None = None  # a switch-up on its way
        self.due_end = 0.0  # end of the motion that asked for it
        self.commands: list[Command] = []
        self.is_high = False
        self.at_second = periods[0].second_delay is not None
        self._command(0.0, "start")

    @property
    def period(self) -> Period:
        """Settings in force."""
        return self.periods[self.number]

    def _command(self, time: float, cause: str) -> None:
        """Write the present state down as a command."""
        period = self.period
        state = "high" if self.is_high else ("second" if self.at_second else "low")
        level = {"high": period.occupied, "low": period.unoccupied, "second": period.second}[state]
        assert level is not None
        self.commands.append(Command(time, state, level, cause, period))

    def age_before(self, instant: float) -> bool:
        """Do the next thing that age alone brings strictly before an instant; False if there is none."""
        if self.motion_end is None:
            return False
        age, period = instant - self.motion_end, self.period
        if self.is_high and not is_held(age, period.delay):
            self.is_high = False
            self.at_second = period.second_delay == 0
            self._command(self.motion_end + period.delay, "down")
            return True
        if (
            not self.is_high and not self.at_second and period.second_delay is not None
            and not is_held(age, period.delay + period.second_delay)
        ):
            self.at_second = True
            self._command(self.motion_end + period.delay + period.second_delay, "second")
            return True
        return False

    def detect(self, start: float, end: float) -> None:
        """Motion begins: it goes on holding, or it asks for a switch-up after the latency."""
        if self.due is not None:
            self.due_end = end
        elif self.motion_end is not None and is_held(start - self.motion_end, self.period.delay):
            self.motion_end = end
        else:
            self.due, self.due_end = start + self.latency, end

    def arrive(self, cause: str) -> None:
        """The switch-up that was on its way arrives."""
        assert self.due is not None
        if cause == "up":
            self.is_high, self.at_second = True, False
            self._command(self.due, "up")
        self.motion_end, self.due = self.due_end, None

    def cross_border(self, border: float, motion: tuple[float, float] | None) -> None:
        """New settings: whatever changes at this instant is one timetable change."""
        self.number += 1
        if self.due == border:
            self.arrive("border")
        if motion is not None:
            self.detect(*motion)
            if self.due == border:
                self.arrive("border")
        period = self.period
        age = None if self.motion_end is None else border - self.motion_end
        # An age that reaches its delay here is over just after: nothing but the border changes here.
        self.is_high = self.due is None and age is not None and age < period.delay
        self.at_second = not self.is_high and period.second_delay is not None and (
            age is None or age >= period.delay + period.second_delay
        )
        self._command(border, "border")


def walk(
    periods: list[Period], latency: float, detections: list[tuple[float, float]], enters: list[float]
) -> tuple[list[Command], list[float]]:
    """Return a zone's commands and the entries that found the command low (left limit).

    `detections` are united and start within the run, `enters` are sorted.
    """
    run_end = periods[-1].end
    zone = ZoneController(periods, latency)
    coming, entering = list(detections), list(enters)
    dim_entries = []
    while True:
        border = zone.period.end
        instants = [border]
        if zone.due is not None:
            instants.append(zone.due)
        if coming:
            instants.append(coming[0][0])
        if entering:
            instants.append(entering[0])
        now = min(instants)
        if zone.age_before(now):
            continue
        if now >= run_end:
            return zone.commands, dim_entries
        if entering and entering[0] == now:
            if not zone.is_high:
                dim_entries.append(now)
            entering.pop(0)
            continue  # the next one at this instant sees the same left limit
        motion = coming.pop(0) if coming and coming[0][0] == now else None
        if border == now:
            zone.cross_border(now, motion)
        elif motion is not None:
            zone.detect(*motion)
            if zone.due is not None and zone.due <= now:
                zone.arrive("up")
        else:
            zone.arrive("up")


@dataclass(frozen=True)
class Piece:
    """Actual level on a straight line from (start, before) to (end, after)."""

    start: float
    end: float
    before: float
    after: float

    def at(self, time: float) -> float:
        """Return the level at a time within the piece."""
        if time >= self.end:
            return self.after
        if time <= self.start or self.before == self.after:
            return self.before
        return self.before + (self.after - self.before) * (time - self.start) / (self.end - self.start)


def light(commands: list[Command], run_end: float) -> list[Piece]:
    """Follow the actual level: each change of the commanded level starts one fade from where it is."""
    turns = [commands[0]]
    for command in commands[1:]:
        if command.level != turns[-1].level:
            turns.append(command)
    pieces: list[Piece] = []
    level = commands[0].level
    for turn, following in zip(turns, [*turns[1:], None], strict=True):
        until = run_end if following is None else following.time
        if turn.level > level:
            fade = turn.period.fade_up
        elif turn.level < level:
            fade = turn.period.fade_down
        else:
            fade = 0.0
        done = turn.time + fade
        if fade > 0.0:
            whole = Piece(turn.time, done, level, turn.level)
            if until < done:
                level = whole.at(until)
                pieces.append(Piece(turn.time, until, whole.before, level))
                continue
            pieces.append(whole)
        level = turn.level
        pieces.append(Piece(done, until, level, level))
    return [piece for piece in pieces if piece.start < piece.end]
