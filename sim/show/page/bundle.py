"""The page's own scripts, joined: one text for the engine, one for the rest, and the library's.

Comes in: files/*.mjs.  Goes out: texts and the policy that names them by their hashes.  After:
`show/page/write`.  Each file is a module that node can test by itself; here imports and exports are taken
off and the files follow each other in one scope.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterable
from functools import cache
from typing import Any

import jinja2

__all__ = ["ENGINE", "PAGE", "bokeh_script", "data_text", "environment", "file_text", "joined", "policy"]

ENGINE = ("lights.mjs", "books.mjs", "glow.mjs", "unpack.mjs", "engine.mjs")
PAGE = (
    "numbers.mjs", "rows.mjs", "toml.mjs", "estimate.mjs", "client.mjs", "charts.mjs", "controls.mjs",
    "pins.mjs", "quick.mjs", "motion.mjs", "paint.mjs", "strips.mjs", "plan.mjs", "playback.mjs", "page.mjs",
)
"""Files in the order in which they use each other."""

_IMPORT = re.compile(r"^import \{[^}]*\} from \"\./[\w.]+\";\n", re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function|class|const|let) )", re.MULTILINE)
_ENDS_SCRIPT = re.compile(r"</script|<!--", re.IGNORECASE)


@cache
def environment() -> jinja2.Environment:
    """Return where the page's files come from; every value is escaped."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader("sim.show.page", "files"), autoescape=True,
        undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )


def file_text(name: str) -> str:
    """Return the text of one of the page's files."""
    loader = environment().loader
    assert loader is not None
    return loader.get_source(environment(), name)[0]


def joined(files: Iterable[str]) -> str:
    """Return files as one script."""
    text = "\n".join(_EXPORT.sub("", _IMPORT.sub("", file_text(name))) for name in files)
    assert not _ENDS_SCRIPT.search(text), "this text would end its own script element"
    return f'"use strict";\n{text}\n'


def bokeh_script() -> str:
    """Return BokehJS; what else the library would run (its log level, told to the console) is left out."""
    from bokeh.resources import Resources

    return Resources(mode="inline", components=["bokeh"]).js_raw[0]


def data_text(data: Any) -> str:
    """Return JSON that no HTML parser can take for markup.

    >>> data_text({"title": "</script>&"})
    '{"title":"\\\\u003c/script\\\\u003e\\\\u0026"}'
    """
    text = json.dumps(data, separators=(",", ":"), allow_nan=False, ensure_ascii=False)
    for letter in "<>&\N{LINE SEPARATOR}\N{PARAGRAPH SEPARATOR}":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def policy(scripts: Iterable[str]) -> str:
    """Return a content security policy under which these scripts alone run, and nothing is fetched."""
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in scripts
    )
    return (
        f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline'; img-src data:; "
        "worker-src blob:; base-uri 'none'; form-action 'none'"
    )
