"""What may happen where: one library or one deed, and the files in which it is allowed."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator

import pytest

from tests.house.source import called_names, libraries, module_paths, parse

LIBRARY_HOMES: dict[str, tuple[str, ...]] = {
    "simpy": (
        "traffic.world",
        "lighting.live",
        "lighting.live_floor",
        "lighting.live_gates",
        "lighting.live_motion",
        "lighting.live_passing",
    ),
    "matplotlib": ("show.figures.",),
    "bokeh": ("show.page.",),
    "click": ("cli", "commands."),
    "tqdm": ("terminal",),
    "jinja2": ("show.",),
    "pydantic": ("scenario.", "study.sweeping.plan", "study.batch.schema", "study.batch.file"),
    "tomllib": ("scenario.", "study.sweeping.values"),
    "tomli_w": ("scenario.toml", "study.batch.file"),
    "sqlite3": ("study.batch.store", "study.batch.damage"),
    "filelock": ("study.batch.files",),
    "distributed": ("study.engine",),
    "csv": ("logs.text", "show.", "study.", "verification.meter"),
}
"""Library and the modules that may import it, each a name, or a package with a dot behind it."""

READERS = (
    "scenario.toml",
    "logs.reader",
    "traffic.logs",
    "sensing.logs",
    "verification.meter",
    "study.store",
    "study.batch.files",  # which process has a store
    "lighting.weather",  # typical years of weather, through pvlib
    "cli",  # copies a demonstration site out and shows its first comment
    "show.folders.run",  # puts the pictures that it has just drawn into the report
)
"""Modules that may read files."""

WRITERS = (
    "cli",
    "commands.page",
    "show.folders.run",
    "show.folders.whole",
    "show.figures.",
    "show.folders.batch_table",
    "study.store",
    "study.batch.files",
)
"""Modules that may write files."""

PRINTERS = ("cli", "commands.")
"""Modules that may print: the command line, a file for each group of commands."""

ENDERS = (
    "cli",
    "study.engine",  # a worker whose parent is gone ends itself
)
"""Modules that may end a process."""

READING = {"read_text", "read_bytes", "loadtxt", "genfromtxt", "read_csv", "read_table", "fromfile"}
WRITING = {"write_text", "write_bytes", "savetxt", "to_csv", "tofile", "savefig"}


def _mode(name: str, call: ast.Call) -> str | None:
    """Return the mode of a call that opens a file, None for any other call."""
    if name not in ("open", "io.open", "gzip.open") and not name.endswith(".open"):
        return None
    place = 0 if name.endswith(".open") and name not in ("io.open", "gzip.open") else 1
    given = next((word.value for word in call.keywords if word.arg == "mode"), None)
    if given is None and len(call.args) > place:
        given = call.args[place]
    return given.value if isinstance(given, ast.Constant) and isinstance(given.value, str) else "r"


def reads_files(tree: ast.AST) -> bool:
    """Say whether a module reads files."""
    return any(
        name.rpartition(".")[2] in READING
        or ((mode := _mode(name, call)) is not None and name != "os.open" and not set(mode) & set("wax"))
        for name, call in called_names(tree)
    )


def writes_files(tree: ast.AST) -> bool:
    """Say whether a module writes files."""
    return any(
        name.rpartition(".")[2] in WRITING
        or ((mode := _mode(name, call)) is not None and bool(set(mode) & set("wax+")))
        for name, call in called_names(tree)
    )


def prints(tree: ast.AST) -> bool:
    """Say whether a module prints."""
    shown = ("click.echo", "click.secho", "sys.stdout.write", "sys.stderr.write")
    return any(name in ("print", *shown) for name, _ in called_names(tree))


def ends_processes(tree: ast.AST) -> bool:
    """Say whether a module ends a process."""
    return any(name in ("sys.exit", "os._exit", "exit", "quit") for name, _ in called_names(tree))


def uses_global_generator(tree: ast.AST) -> bool:
    """Say whether a module draws from a generator that everybody shares."""
    allowed = {"default_rng", "SeedSequence", "Generator"}
    return any(
        (name.startswith(("np.random.", "numpy.random.")) and name.rpartition(".")[2] not in allowed)
        or name.startswith("random.")
        for name, _ in called_names(tree)
    )


def has_pickle(tree: ast.AST) -> bool:
    """Say whether a module touches a form of storage that runs what it reads."""
    risky = {"pick" + "le", "shelve", "marshal", "dill", "cloudpick" + "le", "joblib"}
    return bool(libraries(tree) & risky) or any(
        name in ("eval", "exec", "np.load", "pd.read_pick" + "le") for name, _ in called_names(tree)
    )


def _may(module: str, allowed: tuple[str, ...]) -> bool:
    """Say whether a module is one of those, or lies in one of those packages (they end in a dot)."""
    return any(
        module == home or (home.endswith(".") and module.startswith(home))
        for home in allowed
    )


def _modules() -> Iterator[tuple[str, ast.Module]]:
    for name, path in module_paths().items():
        yield name, parse(path)


@pytest.mark.parametrize("library", LIBRARY_HOMES)
def test_a_library_stays_at_home(library: str) -> None:
    strays = [
        name
        for name, tree in _modules()
        if library in libraries(tree) and not _may(name, LIBRARY_HOMES[library])
    ]
    assert strays == []


@pytest.mark.parametrize(
    ("deed", "allowed"),
    [
        (reads_files, READERS),
        (writes_files, WRITERS),
        (prints, PRINTERS),
        (ends_processes, ENDERS),
        (uses_global_generator, ()),
        (has_pickle, ()),
    ],
)
def test_a_deed_is_done_where_it_belongs(deed: Callable[[ast.AST], bool], allowed: tuple[str, ...]) -> None:
    assert [name for name, tree in _modules() if deed(tree) and not _may(name, allowed)] == []


@pytest.mark.parametrize(
    ("deed", "guilty", "innocent"),
    [
        (reads_files, "with open(p) as f: pass", 'with open(p, "w") as f: pass'),
        (reads_files, 'with path.open("rb") as f: pass', 'with path.open(mode="w") as f: pass'),
        (reads_files, "text = Path(p).read_text()", "text = p.name"),
        (writes_files, "Path(p).write_bytes(b)", "Path(p).stat()"),
        (writes_files, 'open(p, mode="a")', "open(p)"),
        (prints, 'print("x")', "printable(x)"),
        (prints, 'click.echo("x")', "click.option()"),
        (ends_processes, "sys.exit(2)", "exits(2)"),
        (uses_global_generator, "np.random.random()", "np.random.default_rng(1)"),
        (has_pickle, "import pick" + "le", "import json"),
        (has_pickle, "eval(text)", "evaluate(text)"),
    ],
)
def test_each_fence_can_fail(deed: Callable[[ast.AST], bool], guilty: str, innocent: str) -> None:
    assert deed(ast.parse(guilty))
    assert not deed(ast.parse(innocent))
