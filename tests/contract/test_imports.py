"""What is light stays light: heavy libraries are loaded when they are needed, and only in their rooms."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HEAVY = ("ifcopenshell", "pandas", "scipy", "shapely", "networkx")
ROOMS = {
    "ifcopenshell": ("wallquant/importers/ifc/", "wallquant/writers/"),
    "ifctester": ("wallquant/importers/ifc/readiness.py",),
    "pandas": ("wallquant/quantities/", "wallquant/writers/"),
    "pydantic": ("wallquant/job.py", "wallquant/catalogue.py", "wallquant/masonry.py", "wallquant/strictyaml.py"),
}
"""Where a library may be imported; masonry is the catalogue's records, strictyaml turns pydantic's errors into sentences."""


def loaded(code: str) -> set[str]:
    """Top-level modules that are loaded after running code in a new Python."""
    tell = "import sys; print('\\n'.join(sorted({m.partition('.')[0] for m in sys.modules})))"
    done = subprocess.run([sys.executable, "-c", f"{code}\n{tell}"], capture_output=True, text=True, check=True, cwd=ROOT)
    return set(done.stdout.split("\n"))


def test_package_is_light() -> None:
    found = loaded("import wallquant")
    assert "wallquant" in found
    assert not found & {*HEAVY, "numpy", "pydantic", "yaml", "click"}


@pytest.mark.parametrize("line", ["--help", "--version", "plan --help", "check --help", "compare --help", "audit --help", "job --help"])
def test_help_is_light(line: str) -> None:
    code = (
        f"from wallquant.cli import main\ntry:\n    main({line.split()!r})\nexcept SystemExit as end:\n    assert end.code == 0, end.code"
    )
    assert not loaded(code) & {"ifcopenshell", "pandas"}


def test_heavy_libraries_keep_to_their_rooms() -> None:
    met = dict.fromkeys(ROOMS, 0)
    for file in sorted((ROOT / "wallquant").rglob("*.py")):
        name = file.relative_to(ROOT).as_posix()
        for node in _imports(ast.parse(file.read_text(encoding="utf-8"))):
            library = node.partition(".")[0]
            if library in ROOMS:
                met[library] += 1
                assert name.startswith(ROOMS[library]), f"{name} imports {library}"
    assert all(met.values()), "a library that nobody imports"


def _imports(tree: ast.AST) -> list[str]:
    out = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            out += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            out.append(node.module)
    return out


def test_audit_shares_no_code_with_what_it_checks() -> None:
    allowed = {"wallquant.audit", "wallquant.files", "wallquant.findings", "wallquant.units"}
    for file in sorted((ROOT / "wallquant" / "audit").glob("*.py")):
        ours = [m for m in _imports(ast.parse(file.read_text(encoding="utf-8"))) if m.startswith("wallquant")]
        assert all(any(m == a or m.startswith(a + ".") for a in allowed) for m in ours), (file.name, ours)
