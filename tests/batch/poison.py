"""Work that fails on purpose, for `run_study(work=...)`: in a module of its own, so that workers find it."""

from __future__ import annotations

import os
import signal
from pathlib import Path

from sim.study.batch.task import Answer, Task, do_task

KILLING_TIMEOUT_S = 120.0
ONCE = "AISLEWAKE_TRIAL_ONCE"
"""Names a file: the first task that finds it absent makes it and dies."""


def _is_poisoned(task: Task) -> bool:
    """Say whether a task holds the point that fails."""
    return any(choice["day"].timeout_s == KILLING_TIMEOUT_S for choice in task.choices)


def die_always(task: Task) -> Answer:
    """Die by signal 9 on one point."""
    if _is_poisoned(task):
        os.kill(os.getpid(), signal.SIGKILL)
    return do_task(task)


def die_once(task: Task) -> Answer:
    """Die by signal 9 on the first task of all."""
    mark = Path(os.environ[ONCE])
    if not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return do_task(task)


def fail(task: Task) -> Answer:
    """Raise on one point, as a bug in the model would."""
    if _is_poisoned(task):
        return Answer({}, 0.0, {}, "ZeroDivisionError: division by zero", "Traceback ...")
    return do_task(task)
