"""What a model must bring, as an IDS file, and which of it a model lacks.

The Information Delivery Specification (IDS 1.0, buildingSMART International) is `wall-model.ids`, here and in ``schemas/`` for any
IDS checker.  It has no inheritance, so each class is named.  What it cannot ask for (axis, joins, geometry) the reader tells.
"""

from __future__ import annotations

import pathlib
from importlib.resources import files
from typing import Any

from wallquant.findings import Finding, Place
from wallquant.importers.ifc.vet import open_model

MOST = 6
"""Elements that a finding names; the rest is counted."""
_LONG = 60
_ABSENT = "Readiness is not checked, because ifctester is not installed; pip install 'wallquant[ids]' brings it."


def specification() -> pathlib.Path:
    """Return the IDS file."""
    return pathlib.Path(str(files("wallquant.importers.ifc").joinpath("wall-model.ids")))


def readiness(path: pathlib.Path) -> tuple[Finding, ...]:
    """Check a model against the specification.

    Parameters
    ----------
    path : pathlib.Path
        An IFC file.

    Returns
    -------
    tuple of Finding
        One finding a requirement that the model fails, with how many elements fail and which; one note where nothing could
        be checked.

    Raises
    ------
    wallquant.importers.InputError
        If the file cannot be opened.
    """
    try:
        from ifctester import ids
    except ImportError:
        return (Finding(code="readiness.not-checked", severity="note", text=_ABSENT),)
    model, _, _ = open_model(path)
    try:
        if _circle(model):
            return (_failed("things of the model are part of each other in a circle"),)
        asked = ids.open(str(specification()))
        asked.validate(model, should_filter_version=True)
    except Exception as error:  # whatever broken data makes the library raise
        return (_failed(f"its data is broken ({type(error).__name__})"),)
    return tuple(_told(spec) for spec in asked.specifications if spec.status is False)


def _failed(why: str) -> Finding:
    return Finding(code="readiness.not-checked", severity="warning", text=f"Readiness could not be checked: {why}. Export the model again.")


def _told(spec: Any) -> Finding:
    """Return one finding for a specification that failed; each holds one requirement."""
    slug = spec.name.lower().replace(" ", "-")
    asked, advice = spec.description.rstrip("."), spec.requirements[0].instructions
    failed = sorted((_name(one), str(getattr(one, "GlobalId", None) or "")) for one in spec.failed_entities)
    total = len(spec.applicable_entities)
    if not total:
        text, measured, place = f"{asked}: the model has none. {advice}", "0", Place()
    else:
        names = [name for name, _ in failed if name]
        which = f" ({', '.join(names[:MOST])}{f' and {len(names) - MOST} more' if len(names) > MOST else ''})" if names else ""
        does = "does" if len(failed) == 1 else "do"
        text = f"{asked}: {len(failed)} of {total} {does} not{which}. {advice}"
        measured, place = f"{len(failed)} of {total}", Place(wall=failed[0][1] if slug.startswith("wall") else "")
    return Finding(
        code=f"readiness.{slug}", severity="warning", text=text, place=place, measured=measured, wanted="all", times=max(1, len(failed))
    )


def _name(entity: Any) -> str:
    """Return the name of an element on one line, shortened where it is longer than people read."""
    name = " ".join(str(getattr(entity, "Name", None) or getattr(entity, "GlobalId", None) or f"#{entity.id()}").split())
    return name if len(name) <= _LONG else f"{name[: _LONG - 3]}..."


def _circle(model: Any) -> bool:
    """Say whether something is, over some steps, a part of itself: the library would follow it for ever."""
    from ifcopenshell.util.element import get_parent

    safe: set[int] = set()
    for one in model.by_type("IfcProduct"):
        chain: set[int] = set()
        while one is not None and one.id() not in safe:
            if one.id() in chain:
                return True
            chain.add(one.id())
            one = get_parent(one)
        safe |= chain
    return False
