"""A scenario file in and out: every fault at once, each with its file and line.

Comes in: TOML text or a path.  Goes out: a frozen `Scenario` with every default filled in, or one
`InputError` with all faults.  Before: `scenario/faults`, `scenario/checks/contradictions`; after: `floor`.
`read_toml` serves other TOML files as well.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomli_w
from pydantic import ValidationError

from sim.errors import Fault, InputError
from sim.scenario.checks.contradictions import find_contradictions
from sim.scenario.demos import find_scenario
from sim.scenario.faults import Problem, find_form_problems, key_text, value_at
from sim.scenario.jsonschema import allowed_text, keys_at
from sim.scenario.parts import gather_parts
from sim.scenario.positions import Key, Place, find_places
from sim.scenario.schema import Scenario
from sim.wording import printable

__all__ = [
    "TomlFile",
    "dump_scenario",
    "dump_tables",
    "load",
    "load_scenario",
    "parse_scenario",
    "parse_toml",
    "read_toml",
]

_LARGEST_BYTES = 1_000_000
_LONGEST_KEY_PARTS = 100
_MOST_FAULTS = 100
_PLACE_OF_ERROR = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_BEFORE_A_KEY_ENDS = re.compile(r"[=,{}\[\]#]")


@dataclass(frozen=True)
class TomlFile:
    """A TOML document that was read.

    Attributes
    ----------
    name : for messages
    content : its plain values
    places : where each key stands
    """

    name: str
    content: Mapping[str, Any]
    places: Mapping[Key, Place]

    def fault(self, problem: Problem) -> Fault:
        """Return a problem with the file and the line of its key, or of the table that lacks it."""
        path = problem.path
        above = (self.places.get(path[:length]) for length in range(len(path), 0, -1))
        place = next((one for one in above if one is not None), None)
        return Fault(
            self.name,
            None if place is None else place.line,
            key_text(path, self.content),
            problem.message,
            value=value_at(self.content, path),
            allowed=(allowed_text(path) or ", ".join(keys_at(path[:-1]))) if path else "",
        )

    def refuse(self, problems: Iterable[Problem]) -> None:
        """Raise all problems together, in the order of lines.

        Raises
        ------
        InputError : there is any
        """
        faults = sorted((self.fault(problem) for problem in problems), key=lambda fault: fault.line or 0)
        if len(faults) > _MOST_FAULTS:
            untold = len(faults) - _MOST_FAULTS
            more = Fault(self.name, None, "", f"{untold} more fault{'s' * (untold != 1)}")
            faults = [*faults[:_MOST_FAULTS], more]
        if faults:
            raise InputError(faults)


def load(scenario: Path | str | None = None) -> Scenario:
    """Load a scenario file, or a packaged site by its name; without any, the default one.

    Raises
    ------
    InputError : the file cannot be read or has faults
    """
    return load_scenario(find_scenario(scenario))


def load_scenario(path: Path | str) -> Scenario:
    """Read a scenario file.

    Raises
    ------
    InputError : the file cannot be read or has faults, all of them together
    """
    return _resolve(read_toml(path, "scenario"))


def parse_scenario(text: str, name: str = "scenario") -> Scenario:
    """Read a scenario from text; `name` stands in messages for the file.

    Raises
    ------
    InputError : the text has faults, all of them together
    """
    return _resolve(parse_toml(text, name))


def dump_scenario(scenario: Scenario) -> str:
    """Return a scenario as TOML, every default stated; it loads back equal."""
    return tomli_w.dumps(scenario.content())


def dump_tables(content: Mapping[str, Any]) -> str:
    """Return a part of a scenario, plain values, as TOML."""
    return tomli_w.dumps(content)


def _resolve(file: TomlFile) -> Scenario:
    """Turn plain values into a scenario, with all checks."""
    scenario, problems = None, []
    try:
        scenario = Scenario.model_validate(file.content)
    except ValidationError as error:
        problems = find_form_problems(file.content, error, file.places)
    parts = gather_parts(file.content, [problem.path for problem in problems])
    file.refuse([*problems, *find_contradictions(parts)])
    assert scenario is not None, "pydantic refused a scenario without naming a fault"
    return scenario


def read_toml(path: Path | str, what: str) -> TomlFile:
    """Read any TOML file safely.

    Parameters
    ----------
    path : the file; at most 1 MB
    what : what it should be, for messages

    Raises
    ------
    InputError : it cannot be read, is too large, is not UTF-8 or not TOML
    """
    name = str(path)
    try:
        with Path(path).open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise InputError([Fault(name, None, "", f"no such {what} file")]) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError([Fault(printable(name), None, "", f"cannot be read: {reason}")]) from None
    return parse_toml(_decode(data, name, what), name)


def _decode(data: bytes, name: str, what: str) -> str:
    """Turn bytes into text, or say how to save the file."""
    if len(data) > _LARGEST_BYTES:
        message = f"is larger than {_LARGEST_BYTES:,} bytes; a {what} file is a few kilobytes"
        raise InputError([Fault(name, None, "", message)])
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError([Fault(name, 1, "", "is UTF-16 text; save it as UTF-8")])
    if b"\0" in data:
        line = data[: data.index(b"\0")].count(b"\n") + 1
        message = "holds a NUL byte: not text, or UTF-16; save it as UTF-8"
        raise InputError([Fault(name, line, "", message)])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        message = f"byte 0x{data[error.start]:02X} is not UTF-8 (Latin-1 or Windows text?); save it as UTF-8"
        raise InputError([Fault(name, line, "", message)]) from None


def parse_toml(text: str, name: str) -> TomlFile:
    """Parse any TOML text.

    Raises
    ------
    InputError : the text is not TOML; line and column, and the line itself
    """
    lines = text.replace("\r\n", "\n").split("\n")
    for number, line in enumerate(lines, start=1):
        most = max(piece.count(".") for piece in _BEFORE_A_KEY_ENDS.split(line))
        if most > _LONGEST_KEY_PARTS and not line.lstrip().startswith("#"):
            message = f"more than {_LONGEST_KEY_PARTS} dots in one key or value: {printable(line.strip())}"
            raise InputError([Fault(name, number, "", message)])
    try:
        content = _parse(text)  # which folds line ends itself; folded twice, a stray one would pass
        return TomlFile(name, content, find_places("\n".join(lines)))
    except RecursionError:
        brackets = [line.count("[") + line.count("{") for line in lines]
        number = brackets.index(max(brackets)) + 1
        raise InputError([Fault(name, number, "", "brackets are nested too deeply")]) from None
    except _NotTomlError as error:
        raise InputError([_syntax_fault(str(error), lines, name)]) from None


class _NotTomlError(Exception):
    """The parser of the standard library refused the text."""


def _parse(text: str) -> dict[str, Any]:
    """Parse TOML; besides its own error the parser lets plain ValueErrors of the interpreter through."""
    try:
        return tomllib.loads(text)
    except ValueError as error:
        raise _NotTomlError(str(error)) from None


def _syntax_fault(message: str, lines: list[str], name: str) -> Fault:
    """Say where the text stops being TOML, quote the line and guess the slip."""
    place = _PLACE_OF_ERROR.search(message)
    if place is None:  # the interpreter itself refuses a number of thousands of digits
        number = next((at for at, line in enumerate(lines, 1) if re.search(r"[0-9_]{4000}", line)), None)
        return Fault(name, number, "", "a number has too many digits")
    said = message[: place.start()].replace("\n", " ")
    if place[1] is None:
        number = max((at for at, line in enumerate(lines, 1) if line.strip()), default=1)
        column = None
    else:
        number, column = int(place[1]), int(place[2])
    line = lines[number - 1]
    hint = _slip(said, line)
    return Fault(name, number, "", f"{printable(said)} in: {printable(line.strip())}{hint}", column)


def _slip(said: str, line: str) -> str:
    """Return a hint for the mistakes that people make."""
    if "\r" in line:
        return "; line ends are a single CR: save the file with LF or CR LF"
    if re.search(r"=\s*[-+]?[0-9]+,[0-9]", line):
        return "; write decimals with a point"
    if re.search(r"=\s*[0-9.]+\s*[A-Za-z%]", line):
        return "; write the number alone, its unit is in the key's name"
    if re.match(r"\s*[A-Za-z_]\w*\s*:", line):
        return "; write key = value"
    if said == "Invalid value" and (word := re.search(r"=\s*\[?\s*([A-Za-z][\w -]*)", line)):
        return f'; text needs quotes: "{printable(word[1].strip())}"'
    if said.startswith("Cannot"):
        return "; this key or table stands more than once"
    if said.startswith(("Illegal character '\\n'", "Unterminated", "Unclosed")):
        return "; a quote or bracket is left open"
    return ""
