"""What the made-up plans say beside their tables: summary, findings, cautions."""

from __future__ import annotations

from typing import Any

import pandas as pd


def summary(tables: dict[str, pd.DataFrame], walls: list[dict[str, Any]], people_unit: str, shout: str) -> dict[str, Any]:
    """Return a summary whose counts are the tables'."""
    pieces, laid = tables["pieces.csv"], [wall for wall in walls if wall["area_m2"]["laid"] > 0]
    cuts = int((pieces["cut"] != "").sum())
    unit = {"length_mm": 599.0, "height_mm": 199.0, "thickness_mm": 200.0}
    return {
        "schema": "wallquant.plan/1",
        "people_unit": people_unit,
        "model": "garden-house.ifc" + shout,
        "ifc_schema": "IFC4",
        "any_thickness": False,
        "origin_mm": [0.0, 0.0, 0.0],
        "notes": ["Catalogue chosen by thickness: it fits 97 % of the wall area."],
        "catalogue": {
            "name": "metric-600x200",
            "joints": {"head_mm": [0.5, 1.0, 3.0], "bed_mm": [0.5, 1.0, 3.0]},
            "least_piece_mm": 99.0,
            "kerf_mm": 4.0,
            "units": [
                {"code": "standard 200", "kind": "standard", **unit},
                {"code": "core 200", "kind": "core", **unit, "cores": [{"diameter_mm": 100.0}]},
                {"code": "U 200", "kind": "U", **unit, "troughs": [{"width_mm": 100.0}]},
                {"code": "lintel 1500", "kind": "lintel", **unit, "length_mm": 1500.0},
            ],
        },
        "rules": [
            {
                "code": "running-bond",
                "params": {"least_offset_mm": 150.0, "joints_line_up": False},
                "sources": {"least_offset_mm": "derived: a quarter of the unit length" + shout},
            },
            {"code": "corner-leads", "params": {"courses": 3}, "sources": ["common practice, no source: leads of two to three courses"]},
        ],
        "fit": {"end_mm": 6.4, "top_mm": 12.7, "jamb_mm": 0.0},
        "counts": {
            "walls": len(walls),
            "walls_laid": len(laid),
            "walls_set_aside": len(walls) - len(laid),
            "runs": len(tables["runs.csv"]),
            "corners": len(tables["corners.csv"]),
            "pieces": len(pieces),
            "cuts": cuts,
            "units_bought": len(pieces),
            "steps": len(tables["steps.csv"]),
        },
        "totals": {
            "pieces_m3": 7.1,
            "solid_m3": 7.0,
            "mass_kg": float(pieces["mass_kg"].sum()),
            "cuts_bound": cuts - 3,
            "cut_units_bound": cuts // 2,
            "hours": 44.5,
            "hours_bound": 40.25,
        },
        "walls": walls,
        "files": {},
    }


def findings(shout: str) -> list[dict[str, Any]]:
    """Return findings of each severity, with each kind of place, not in order."""

    def one(code: str, severity: str, text: str, **place: Any) -> dict[str, Any]:
        empty = {
            **dict.fromkeys(("wall", "run", "corner", "opening", "piece", "storey"), ""),
            **dict.fromkeys(("course", "start_mm", "end_mm", "level_mm")),
        }
        more = (
            {"measured": "142 mm", "wanted": "150 mm", "times": 3} if severity == "warning" else {"measured": "", "wanted": "", "times": 1}
        )
        return {"code": code, "severity": severity, "text": text + shout, "place": empty | place, **more, "rules": ["running-bond"]}

    return [
        one("coursing.top", "note", "The top of R3 stands 9 mm over what is drawn, within its tolerance.", run="R3"),
        one(
            "bond.least-offset",
            "warning",
            "In R1 joints lie nearer than asked beside the door; move the door 105 mm to the right.",
            run="R1",
            course=7,
            start_mm=900.0,
            end_mm=1500.0,
        ),
        one(
            "reading.curved",
            "error",
            "Curved bay is not laid: its axis is an arc. Draw it as straight walls, or lay it by hand.",
            wall="wall-bay",
        ),
        one("bridging.short", "warning", "The lintel over this window sits on less than asked.", opening=f"R3-window{shout}"),
        one("cut.small", "note", "This piece is near the least piece.", run="R2", piece="R2-C03-01", course=3),
        one("corner.tied", "note", "At C5 the inner wall is tied, not bonded.", corner="C5"),
    ]


def cautions() -> list[dict[str, str]]:
    """Return cautions as the pipeline passes them."""
    return [
        {
            "title": "Keep clear of the wall",
            "text": "Set up a limited access zone before work starts, on the side without a scaffold: "
            "as wide as the wall is high plus 1.2 m (4 ft), and as long as the wall.",
            "source": "29 CFR 1926.706(a)",
            "places": "R1 to R6",
        },
        {
            "title": "Brace walls over 2.44 m (8 ft)",
            "text": "Brace both sides until the wall is held by the building.",
            "source": "29 CFR 1926.706(b)",
            "places": "R2, R4",
        },
        {"title": "Dust when sawing", "text": "Saw wet. Silica dust harms the lungs.", "source": "29 CFR 1926.1153 Table 1", "places": ""},
    ]
