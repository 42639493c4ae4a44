"""The faults a user can meet, and nothing else.

A fault found in a file carries its place, its value and what is allowed; all faults of a file are
raised together.  A bug keeps its traceback and is none of these.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

__all__ = ["AislewakeError", "Fault", "InputError", "MachineError"]


class AislewakeError(Exception):
    """Base of every error that the command shows as a plain message; `exit_code` says how it ends."""

    exit_code = 1


@dataclass(frozen=True)
class Fault:
    """One thing wrong in an input: where it stands and what would be right.

    Attributes
    ----------
    where : file name, or "" for the command line
    line : line number from 1, or None where no line can be named
    key : dotted path of the key or the column, or ""
    message : value, what is allowed with its unit, and the nearest valid word where one is near
    column : character from 1, where a text could not be read at all
    value : what stands there, None where nothing does or no key can be named
    allowed : what may stand there, "" where that is not known apart from the message
    """

    where: str
    line: int | None
    key: str
    message: str
    column: int | None = None
    value: object = field(default=None, compare=False)
    allowed: str = field(default="", compare=False)

    def __str__(self) -> str:
        numbers = (number for number in (self.line, self.column) if number is not None)
        place = ":".join((self.where, *map(str, numbers)))
        return ": ".join(part for part in (place, self.key, self.message) if part)


class InputError(AislewakeError):
    """Bad input or usage: every fault found, together (exit code 2)."""

    exit_code = 2

    def __init__(self, faults: Sequence[Fault] | str) -> None:
        self.faults: tuple[Fault, ...] = (
            (Fault("", None, "", faults),) if isinstance(faults, str) else tuple(faults)
        )
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[type[InputError], tuple[tuple[Fault, ...]]]:
        return (type(self), (self.faults,))


class MachineError(AislewakeError):
    """The machine refused: disk full, no permission, a lock held by another run (exit code 4)."""

    exit_code = 4
