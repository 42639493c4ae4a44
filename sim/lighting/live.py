"""The lights inside the event simulation: one zone's controller, told of motion as it happens.

Comes in: a SimPy environment, a `Program`, motion (`motion_began`, `motion_ended`, `pulse`).  Goes out: the
light at any instant, an event for "the light reaches a level", and at the end `Commands` and `Levels` for
the books.  Before: `lighting/timetable`; after: `lighting/live_floor`, `outcome`.  The settings are those of
`lighting/replay`, the computation is another one: nothing is known beforehand.

How it keeps time.  A zone stores the end of the latest motion; a detection moves that stored end and touches
no alarm.  An alarm that rings too early is set again (no interrupt per detection).  Whatever is asked or
told of a zone at an instant first settles all that fell due until then, so that nothing depends on the
order in which SimPy works off the events of one instant.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Protocol

import simpy

from sim.lighting.live_rows import HIGH, LOW, LOWEST, Fade, Row, as_commands, cut_levels
from sim.lighting.replay import BORDER, DETECTION, SECOND, START, TIMEOUT, Commands
from sim.lighting.timetable import Program
from sim.results import Levels

__all__ = ["STATED", "LiveZone", "Policy", "StatedPolicy"]

NEVER = math.inf


class Policy(Protocol):
    """What decides delays and levels where no timeout can say it; one object serves all zones.

    A policy may keep what it likes about each zone, and may itself tell a zone of motion (`zone.pulse()`).
    `StatedPolicy` does what the timetable says; inherit from it and change one method.
    """

    def delay_s(self, zone: LiveZone, stated_s: float) -> float:
        """Return how long the light stays high after the motion that ends now; asked again at borders [s].

        The rule "delay above latency + fade-up" holds for what is returned, too.
        """

    def level(self, zone: LiveZone, state: str, stated: float) -> float:
        """Return the level to command, 0..1; `state` is "high", "low" or "second"."""

    def ordered(self, zones: Sequence[LiveZone], truck: int) -> None:
        """Hear that a truck has taken a task in the aisle of these zones and sets off for it now."""


class StatedPolicy:
    """Does what the timetable says."""

    def delay_s(self, zone: LiveZone, stated_s: float) -> float:
        """Return the stated delay."""
        return stated_s

    def level(self, zone: LiveZone, state: str, stated: float) -> float:
        """Return the stated level."""
        return stated

    def ordered(self, zones: Sequence[LiveZone], truck: int) -> None:
        """Do nothing."""


STATED = StatedPolicy()


class LiveZone:
    """One control zone in a running simulation.

    Parameters
    ----------
    env : the simulation; its clock starts at 0, second 0 of the program
    name : of the zone
    program : settings in force
    policy : what decides delays and levels

    Notes
    -----
    Motion may overlap: the zone counts beginnings and ends. At a border everything that falls on its
    instant is one timetable change, whether it is told before or after the border's own alarm.
    """

    def __init__(self, env: simpy.Environment, name: str, program: Program, policy: Policy = STATED) -> None:
        self.env, self.name, self.program = env, name, program
        self._policy = policy
        self._columns = [
            column.tolist()
            for column in (
                program.delay_s,
                program.second_s,
                program.occupied,
                program.unoccupied,
                program.second,
                program.fade_up_s,
                program.fade_down_s,
            )
        ]
        self._borders = program.border[1:-1].tolist()
        self._number = -1
        self._moving = 0
        self._last_end = -math.inf
        self._felt_end = -math.inf
        self._due = NEVER
        self._alarm = NEVER
        self._border_at = -math.inf
        self._waiting: list[tuple[float, simpy.Event]] = []
        self._rows: list[Row] = []
        self._take_settings()
        self._state = LOWEST if self._second < NEVER else LOW
        level = self._level_of_state()
        self._before = self._fade = Fade(0.0, level, level, 0.0)
        self._rows.append(Row(0.0, self._state, level, 0, START, self._fade))
        if self._borders:
            env.process(self._keep_borders())

    # ---- what a sensor tells

    def motion_began(self) -> None:
        """Motion begins now."""
        now = self.env.now
        self._settle(now)
        self._moving += 1
        if self._moving > 1:
            return
        if self._due < NEVER:
            return
        is_held = now - self._felt_end <= self._delay
        if is_held and self._state == HIGH:
            return
        latency_s = self.program.latency_s
        if now == self._border_at and (is_held or latency_s == 0.0):
            self._amend_border()
            return
        self._due = now + latency_s
        if latency_s > 0.0:
            self._ring(self._due, self._wake)
        else:
            self._switch_up()

    def motion_ended(self) -> None:
        """Motion that began earlier ends now."""
        now = self.env.now
        self._settle(now)
        self._moving -= 1
        if self._moving:
            return
        self._last_end = now
        if self._due == NEVER:
            self._feel()
            self._set_alarm()

    def pulse(self) -> None:
        """Motion is seen for an instant."""
        self.motion_began()
        self.motion_ended()

    # ---- what anybody may ask

    def level(self) -> float:
        """Return the actual light now, share of full."""
        self._settle(self.env.now)
        return self._fade.at(self.env.now)

    def occupied_level(self) -> float:
        """Return the occupied level in force now."""
        self._settle(self.env.now)
        return self._occupied()

    def command(self) -> tuple[bool, float]:
        """Return whether the command is high now, and the commanded level."""
        self._settle(self.env.now)
        return self._state == HIGH, self._rows[-1].level

    def is_dim(self) -> bool:
        """Say whether the light is below the occupied level in force now."""
        return self.level() < self._occupied()

    def reaches(self, level: float) -> simpy.Event:
        """Return an event that happens once the actual light is at least this high; now if it is."""
        event = self.env.event()
        if self.level() >= level:
            event.succeed()
        else:
            self._waiting.append((level, event))
            self._watch(level, event)
        return event

    def forget(self, event: simpy.Event) -> None:
        """Drop an event of `reaches` that nobody waits for any more."""
        self._waiting = [one for one in self._waiting if one[1] is not event]

    # ---- settings

    def _take_settings(self) -> None:
        """Step into the next period."""
        self._number += 1
        self._second = self._columns[1][self._number]
        self._delay = self._columns[0][self._number]
        last = self._number >= len(self._borders)
        self._next_border = NEVER if last else self._borders[self._number]

    def _occupied(self) -> float:
        return float(self._columns[2][self._number])

    def _level_of_state(self) -> float:
        """Return the level that the present state commands."""
        column = {HIGH: 2, LOW: 3, LOWEST: 4}[self._state]
        return self._policy.level(self, self._state, self._columns[column][self._number])

    def _is_felt(self) -> bool:
        """Say whether motion goes on that the command knows of."""
        return self._moving > 0 and self._due == NEVER

    # ---- time

    def _keep_borders(self) -> simpy.events.ProcessGenerator:
        """Wake at every border."""
        for border in self._borders:
            while self.env.now < border:
                yield self.env.timeout(border - self.env.now)
            self._settle(self.env.now)

    def _settle(self, now: float) -> None:
        """Do all that fell due until now, in order of time."""
        is_quiet = now < self._next_border and self._due == NEVER
        if is_quiet and (self._moving or (self._state == HIGH and now - self._felt_end <= self._delay)):
            # by far most often nothing fell due: motion goes on, or the light is still held
            return
        while True:
            due = self._due if self._due < self._next_border else self._next_border
            until = due if due <= now else now
            self._let_age(until)
            if due > now:
                return
            if due == self._next_border:
                self._cross_border()
            else:
                self._switch_up()

    def _let_age(self, until: float) -> None:
        """Do what age alone brings before an instant: age at the delay still holds."""
        if self._is_felt():
            return
        age = until - self._felt_end
        if self._state == HIGH and age > self._delay:
            self._state = LOWEST if self._second == 0.0 else LOW
            self._say(min(self._felt_end + self._delay, until), TIMEOUT)
        if self._state == LOW and self._second < NEVER and age > self._delay + self._second:
            self._state = LOWEST
            self._say(min(self._felt_end + (self._delay + self._second), until), SECOND)

    def _switch_up(self) -> None:
        """The switch-up that was on its way arrives."""
        time = self._due
        self._feel()
        self._state = HIGH
        self._say(time, DETECTION)
        self._set_alarm()

    def _feel(self) -> None:
        """From now on the age counts from the latest motion, and the policy may give it a delay."""
        self._due = NEVER
        if not self._moving:
            self._felt_end = self._last_end
            self._ask_delay()

    def _ask_delay(self) -> None:
        """Let the policy say how long the light stays up after the latest motion."""
        self._delay = self._policy.delay_s(self, self._columns[0][self._number])

    def _cross_border(self) -> None:
        """New settings: whatever changes at this instant is one timetable change."""
        border = self._border_at = self._next_border
        self._before = self._fade
        is_due = self._due == border
        self._take_settings()
        if is_due:
            self._feel()
        elif not self._moving and self._felt_end > -math.inf:
            self._ask_delay()
        age = border - self._felt_end
        if self._is_felt() or (self._due == NEVER and age < self._delay):
            self._state = HIGH
        else:
            is_lowest = self._second < NEVER and age >= self._delay + self._second
            self._state = LOWEST if is_lowest else LOW
        self._say(border, BORDER)
        self._set_alarm()

    def _amend_border(self) -> None:
        """Motion that begins at a border's own instant belongs to its change."""
        row = self._rows.pop()
        self._fade = self._before
        self._state = HIGH
        self._say(row.time, BORDER)

    def _say(self, time: float, cause: int) -> None:
        """Write the present state down as a command and start its fade."""
        level = self._level_of_state()
        if level != self._fade.target:
            light = self._fade.at(time)
            up, down = self._columns[5][self._number], self._columns[6][self._number]
            self._fade = Fade(time, light, level, up if level > light else down if level < light else 0.0)
            for waiting in self._waiting:
                self._watch(*waiting)
        if cause == SECOND and level == self._rows[-1].level:
            return
        self._rows.append(Row(time, self._state, level, self._number, cause, self._fade))

    def _ring(self, time: float, action: Callable[[simpy.Event], None]) -> None:
        """Call an action at a time, or a rounding error beside it."""
        alarm = self.env.timeout(max(0.0, time - self.env.now))
        assert alarm.callbacks is not None
        alarm.callbacks.append(action)

    def _set_alarm(self) -> None:
        """See to it that somebody looks when the age is next over a delay; an earlier alarm will do."""
        if self._is_felt() or self._felt_end == -math.inf or self._due < NEVER:
            return
        if self._state == HIGH:
            age = self._delay
        elif self._state == LOW and self._second < NEVER:
            age = self._delay + self._second
        else:
            return
        time = self._felt_end + age
        if self._alarm <= time:
            return
        while time - self._felt_end <= age:
            time = math.nextafter(time, NEVER)
        if time < self.program.end_s:
            self._alarm = time
            self._ring(time, self._wake)

    def _wake(self, _: simpy.Event) -> None:
        """An alarm rings."""
        self._settle(self.env.now)
        if self._due < NEVER:
            # a rounding error early: the rest of the way is exact
            self._ring(self._due, self._wake)
        if self.env.now >= self._alarm or self._alarm - self.env.now < 1e-6:
            self._alarm = NEVER
            self._set_alarm()

    def _watch(self, level: float, event: simpy.Event) -> None:
        """Make an event happen when the fade under way passes a level."""
        fade = self._fade
        if fade.target < level:
            return

        def look(_: simpy.Event) -> None:
            if self._fade is fade and not event.triggered:
                self.forget(event)
                event.succeed()

        self._ring(fade.time_of(level), look)

    # ---- the end

    def finish(self) -> tuple[Commands, Levels]:
        """Close the books at the end of the run; an event at the very end does not happen."""
        end_s = self.program.end_s
        self._settle(math.nextafter(end_s, -math.inf))
        self._let_age(end_s)
        return as_commands(self._rows), cut_levels(self._rows, self._columns[2], end_s)
