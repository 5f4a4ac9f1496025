"""What the page says of the saw list: day by day, by setting of the saw, what is cut ahead apart from what is measured first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from wallquant.writers.report.words import Words
from wallquant.writers.saw_list import AHEAD

if TYPE_CHECKING:
    import pandas as pd

MOST = 1500
"""So many settings are on the page; the others are in saw_list.csv alone."""
NAMED = 12
"""So many pieces of a setting are named."""
_WORDS = {"length": "to length", "height": "ripped", "rake": "raked", "mitre": "mitred", "notch": "notched"}


def by_day(frame: pd.DataFrame, words: Words) -> dict[str, Any]:
    """Return the days with their settings, and how many settings the page leaves out.

    Parameters
    ----------
    frame : DataFrame
        The content of saw_list.csv.
    words : Words
    """
    days: list[dict[str, Any]] = []
    for row in frame.head(MOST).to_dict("records"):
        if not days or days[-1]["day"] != row["day"]:
            days.append({"day": row["day"], "groups": []})
        groups = days[-1]["groups"]
        ahead = row["when"] == AHEAD
        if not groups or groups[-1]["ahead"] != ahead:
            groups.append({"ahead": ahead, "count": 0, "rows": []})
        groups[-1]["count"] += int(row["count"])
        groups[-1]["rows"].append(_setting(row, words))
    for day in days:
        day["count"] = sum(group["count"] for group in day["groups"])
        day["settings"] = sum(len(group["rows"]) for group in day["groups"])
    return {"days": days, "left_out": max(0, len(frame) - MOST)}


def _setting(row: dict[Any, Any], words: Words) -> dict[str, str]:
    said = ", ".join(_WORDS.get(word, word) for word in str(row["cut"]).split("+"))
    turned = "" if float(row["angle_deg"]) == 90.0 else f", saw at {float(row['angle_deg']):g}°"
    names = str(row["pieces"]).split()
    return {
        "unit": row["unit"],
        "cut": said + turned,
        "size": f"{words.length(float(row['length_mm']))} × {words.length(float(row['height_mm']))}",
        "count": f"{int(row['count']):,}",
        "pieces": ", ".join(names[:NAMED]) + (f" and {len(names) - NAMED} more" if len(names) > NAMED else ""),
    }
