"""Joints against walls under a slope: what the bonding counts, the audit finds in the files."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from wallquant.cli import main


@pytest.mark.parametrize("at", [700, 1000, 1310, 1700, 2200])
@pytest.mark.parametrize("thickness", [100, 300])
def test_a_wall_that_butts_against_a_slope(tmp_path: Path, at: int, thickness: int) -> None:
    """A high wall butts against a wall that rises across its end: the joint is as high as both stand there, not as the cut unit is long."""
    file = tmp_path / "slope.yaml"
    file.write_text(
        "unit: mm\nname: Slope\nstoreys:\n  - {name: G, level: 0}\nwalls:\n"
        "  - {name: A, storey: G, from: [0, 0], to: [3000, 0], thickness: 200, bottom: 0, top: [[0, 1300], [3000, 4300]]}\n"
        f"  - {{name: B, storey: G, from: [{at}, 100], to: [{at}, 2300], thickness: {thickness}, bottom: 150, height: 3800}}\n",
        encoding="utf-8",
    )
    out = tmp_path / "out"
    planned = CliRunner().invoke(main, ["plan", str(file), "--catalogue", "aac-metric", "-o", str(out)])
    assert planned.exit_code in (0, 1), planned.output
    audited = CliRunner().invoke(main, ["audit", str(out)])
    assert audited.exit_code == 0, audited.output
