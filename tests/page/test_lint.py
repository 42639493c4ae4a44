"""Our JavaScript keeps its manners: no text is run or taken for markup, no name is left over.

The first check needs nothing; eslint runs where ESLINT names its command (.ci/run fetches it).
"""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FILES = ROOT / "sim" / "show" / "page" / "files"
TESTS = ROOT / "tests" / "page" / "js"
CONFIG = TESTS / "eslint.config.mjs"
FORBIDDEN = re.compile(
    r"\beval\b|\bFunction\s*\(|\bdocument\.write|\b(?:inner|outer)HTML\b|\binsertAdjacentHTML\b"
    r"|\bsetTimeout\(\s*[\"'`]|\bimport\s*\(|\bfetch\s*\(|\bXMLHttpRequest\b|\bWebSocket\b|\bsendBeacon\b"
    r"|\blocalStorage\b|\bdocument\.cookie\b|\bconsole\."
)
TAINTED = (
    "eval(text)", "new Function('a', 'b')", "document.write(name)", "box.innerHTML = name",
    "box.insertAdjacentHTML('beforeend', name)", "setTimeout('go()', 5)", "await import(address)",
    "fetch(address)", "new XMLHttpRequest()", "new WebSocket(address)", "navigator.sendBeacon(address, name)",
    "box.outerHTML = name", "localStorage.x = name", "document.cookie = name", "console.log(name)",
)
FAULTS = {
    "export const one = other;": "no-undef",
    "const two = 2;": "no-unused-vars",
    "export function show(box, name) { box.innerHTML = name; }": "no-restricted-syntax",
    "export const run = (text) => eval(text);": "no-eval",
    "export const same = (three, four) => three == four;": "eqeqeq",
}


def forbidden(text: str) -> list[str]:
    """Return what may not stand in the page's code; comments are taken out first."""
    return FORBIDDEN.findall(re.sub(r"^\s*(?://|\*|/\*).*$", "", text, flags=re.MULTILINE))


@pytest.mark.parametrize("path", sorted(FILES.glob("*.mjs")), ids=lambda path: path.name)
def test_no_text_is_run_fetched_or_taken_for_markup(path: Path) -> None:
    assert forbidden(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("line", TAINTED)
def test_tainted_code_is_found(line: str) -> None:
    """Negative control."""
    assert forbidden(f"const a = 1;\n  {line};\n") != []


def lint(*words: str, text: str = "") -> subprocess.CompletedProcess[str]:
    """Run eslint from the top folder, whose paths its configuration names."""
    command = [os.environ["ESLINT"], "--config", str(CONFIG), "--max-warnings", "0", *words]
    return subprocess.run(
        command, cwd=ROOT, input=text, capture_output=True, encoding="utf-8", check=False
    )


needs_eslint = pytest.mark.skipif(
    "ESLINT" not in os.environ, reason="ESLINT does not name eslint's command (.ci/run fetches it)"
)


@needs_eslint
def test_eslint_finds_nothing() -> None:
    done = lint(str(FILES), str(TESTS))
    assert done.returncode == 0, done.stdout + done.stderr


@needs_eslint
def test_eslint_finds_faults() -> None:
    """Negative control, through standard input so that no file is left behind."""
    done = lint("--stdin", "--stdin-filename", str(FILES / "x.mjs"), text="\n".join(FAULTS))
    assert done.returncode == 1
    assert [rule for rule in FAULTS.values() if rule not in done.stdout] == []
