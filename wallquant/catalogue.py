"""Catalogues: what can be bought and how it may be laid: units, joints, fit, least pieces, weights, mortar.

A catalogue is a YAML file.  It lists *series* (one kind of unit in the catalogue's thicknesses and faces) or single units,
and under ``sources`` says for every number where it comes from; a number without a source is an error.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from importlib import resources
from math import fsum
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from wallquant import strictyaml
from wallquant.findings import Basis, Source
from wallquant.masonry import (
    KINDS,
    MEASURED,
    Code,
    Core,
    Face,
    Fit,
    Fits,
    Kind,
    Length,
    LevellingBed,
    Model,
    Number,
    Positive,
    Range,
    Series,
    Size,
    Trough,
    Unit,
    measured_lintel,
)  # fmt: skip
from wallquant.units import Nm, mm_text, parse_length

__all__ = [
    "KINDS", "SCHEMA", "Bag", "Catalogue", "CatalogueFile", "Core", "Face", "Fit", "Fits", "Kind", "LevellingBed", "Mortar", "Range",
    "Series", "Trough", "Unit", "Waste", "choose", "load", "names", "read", "schema",
]  # fmt: skip
SCHEMA = "wallquant.catalogue/1"


class _Wrong(ValueError):
    """What is wrong, and the key path under the file where."""

    def __init__(self, text: str, *path: str | int, at_key: bool = False) -> None:
        super().__init__(text)
        self.path, self.at_key = path, at_key


class Bag(Model):
    """A bag of dry mortar: its mass, and the litres of mortar it makes."""

    mass_kg: Positive
    yield_l: Positive


class Mortar(Model):
    """The two mortars: of the thin-bed joints and of the levelling bed."""

    thin_bed: Bag
    bed: Bag


class Waste(Model):
    """What is bought beyond net, as a part of net (0.05 is 5 %)."""

    units: Number
    lintels: Number
    thin_bed: Number
    bed: Number
    grout: Number
    items: Number


class _Common(Model):
    code: Code
    title: str
    system: Literal["mm", "in"]
    faces: Annotated[tuple[Face, ...], Field(min_length=1)]
    bed: Range
    head_joint: Range
    levelling_bed: LevellingBed
    fit: Fits
    least_piece: Size
    least_rip: Size
    least_strip: Size
    kerf: Length
    density_kg_m3: Positive
    delivered_factor: Annotated[Positive, Field(ge=1)]
    mortar: Mortar
    waste: Waste

    @model_validator(mode="after")
    def _least_piece(self) -> _Common:
        if self.least_piece <= self.head_joint.nominal:
            raise _Wrong("counts one head joint and is to be more than it", "least_piece")
        return self


class Catalogue(_Common):
    """A catalogue, ready for use; lengths are whole nanometres.

    Attributes
    ----------
    code, title, system : str
        Name, words for people, and ``mm`` or ``in``: the units in which people read it.
    faces : tuple of Face
        The first is the default.
    bed, head_joint : Range
        Thin-bed joints.
    least_piece : int
        Least length of a cut piece, one joint included; see `least_actual`.
    least_rip, least_strip : int
        Least height of a ripped unit, and of a strip under the levelling course.
    delivered_factor : float
        Mass as delivered over dry mass, for the moisture in new units.
    units : tuple of Unit
        By kind, then thickness, height and length.
    sources : dict of str to Source
        Key path to where that number, or all numbers under it, come from.
    to_measure : bool
        Whether a rule may ask for a lintel that nobody stocks; see `lintel`.
    """

    units: tuple[Unit, ...]
    thicknesses: dict[str, Size]
    series: tuple[Series, ...]
    sources: dict[str, Source]
    to_measure: bool = False

    @property
    def face(self) -> Face:
        """The default face."""
        return self.faces[0]

    @property
    def least_actual(self) -> Nm:
        """Least actual length of a cut piece: `least_piece` less one nominal head joint."""
        return self.least_piece - self.head_joint.nominal

    def face_of(self, code: str) -> Face:
        """Return the face of that code.

        Raises
        ------
        ValueError
            If there is none; the sentence names those there are.
        """
        for face in self.faces:
            if face.code == code:
                return face
        raise ValueError(f"catalogue {self.code} has no face '{code}'{strictyaml.near(code, (f.code for f in self.faces))}")

    def unit(self, code: str) -> Unit:
        """Return the unit of that code.

        Raises
        ------
        ValueError
            If there is none.
        """
        for unit in self.units:
            if unit.code == code:
                return unit
        if self.to_measure and (sizes := code.removeprefix(MEASURED)) != code and sizes.count("x") == 2:
            return self.lintel(*(parse_length(f"{size} mm") for size in sizes.split("x")))
        raise ValueError(f"catalogue {self.code} has no unit '{code}'{strictyaml.near(code, (u.code for u in self.units))}")

    def including(self, units: Iterable[Unit]) -> Catalogue:
        """Return this catalogue with more (virtual) units, so that `unit` finds them too."""
        more = {u.code: u for u in units if u not in self.units}
        return self.model_copy(update={"units": _sorted((*self.units, *more.values()))})

    def standard(self, thickness: Nm, face: Face | None = None) -> Unit | None:
        """Return the standard unit to lay where `thickness` is drawn, or None where none is within ``fit.thickness``.

        The nearest is taken; of two equally near the thinner.
        """
        fitting = [u for u in self._of(face, "standard") if self.fit.thickness.holds(drawn=thickness, laid=u.thickness)]
        return min(fitting, key=lambda u: (abs(u.thickness - thickness), u.thickness, u.code), default=None)

    def virtual(self, thickness: Nm, face: Face | None = None) -> Unit:
        """Return a standard unit of exactly that thickness, ``any-<mm>``, that stands in for one nobody sells."""
        shape = face or self.face
        return Unit(
            code=f"any-{mm_text(thickness)}",
            title=f"Virtual standard unit {shape.code}, {mm_text(thickness)} mm thick",
            kind="standard",
            length=shape.length,
            height=shape.height,
            thickness=thickness,
            density_kg_m3=self.density_kg_m3,
            virtual=True,
        )

    def lintel(self, length: Nm, height: Nm, thickness: Nm) -> Unit:
        """Return a virtual lintel made to measure; where the catalogue is `to_measure`, `unit` finds it by its code."""
        densities = (one.density_kg_m3 for one in self.series if one.kind == "lintel" and one.density_kg_m3)
        return measured_lintel(length, height, thickness, next(densities, self.density_kg_m3))

    def of_kind(self, kind: Kind, thickness: Nm, face: Face | None = None) -> tuple[Unit, ...]:
        """Return the units of a kind for a laid thickness and a face, shortest first.

        For a thickness that the catalogue does not have they are virtual: the same lengths, cores and troughs.
        """
        shape = face or self.face
        if thickness not in self.thicknesses.values() and not any(u.thickness == thickness for u in self.units):
            found = [self.virtual(thickness, shape)] if kind == "standard" else list(self._virtual(kind, thickness, shape))
        else:
            found = [u for u in self._of(shape, kind) if u.thickness == thickness]
        return tuple(sorted(found, key=lambda u: (u.length, u.code)))

    def delivered_kg(self, unit: Unit) -> float:
        """Return the mass of a unit as delivered, kilograms."""
        return unit.mass_dry_kg * self.delivered_factor

    def source(self, path: str) -> Source | None:
        """Return where the number at a key path (``fit.thickness.plus``) comes from."""
        while path:
            if path in self.sources:
                return self.sources[path]
            path = path.rpartition(".")[0]
        return None

    def _of(self, face: Face | None, kind: Kind) -> list[Unit]:
        shape = face or self.face
        units = [u for u in self.units if u.kind == kind and u.height == shape.height]
        return units if kind == "lintel" else [u for u in units if u.length == shape.length]

    def _virtual(self, kind: Kind, thickness: Nm, face: Face) -> Iterator[Unit]:
        seen: set[tuple[object, ...]] = set()
        for one in self.series:
            for unit in one.made(name=mm_text(thickness), thickness=thickness, face=face, density=self.density_kg_m3, virtual=True):
                shape = (unit.length, unit.cores, unit.trough)
                if one.kind == kind and shape not in seen:
                    seen.add(shape)
                    yield unit


class Cited(Model):
    """Where a number comes from; see `wallquant.findings.Source`."""

    basis: Basis
    text: str = ""


class CatalogueFile(_Common):
    """A catalogue file as written; `read` makes the catalogue of it."""

    schema_: Annotated[Literal["wallquant.catalogue/1"], Field(alias="schema")]
    thicknesses: dict[str, Size]
    series: tuple[Series, ...] = ()
    units: tuple[Unit, ...] = ()
    sources: dict[str, Cited]

    @model_validator(mode="after")
    def _whole(self) -> CatalogueFile:
        for at, one in enumerate(self.series):
            for key, names in (("thicknesses", one.thicknesses or ()), ("pallet", one.pallet)):
                for name in names:
                    if name not in self.thicknesses:
                        raise _Wrong(f"no thickness is named '{name}'{strictyaml.near(name, self.thicknesses)}", "series", at, key)
        if not any(u.kind == "standard" for u in self.listed()):
            raise _Wrong("has no standard unit; add one", "series")
        paths = sorted(set(_numbers(self.model_dump(by_alias=True, exclude={"sources"}, exclude_defaults=True), "")))
        for key in self.sources:
            if not any(p == key or p.startswith(key + ".") for p in paths):
                parts = {p[: p.find(".", at) if p.find(".", at) > 0 else None] for p in paths for at in range(len(p))}
                raise _Wrong(f"is the source of no number{strictyaml.near(key, sorted(parts))}", "sources", key, at_key=True)
        for path in paths:
            if not any(path == key or path.startswith(key + ".") for key in self.sources):
                raise _Wrong(f"does not say where {path} comes from; add '{path}: {{basis: project}}' or its source", "sources")
        codes = [u.code for u in self.listed()]
        if twice := sorted({c for c in codes if codes.count(c) > 1}):
            raise _Wrong(f"makes the unit code {twice[0]} twice; give one of the series another code", "series")
        return self

    def listed(self) -> tuple[Unit, ...]:
        """Return all units, those of the series included, by kind, thickness, height and length."""
        made = [
            unit
            for one in self.series
            for name, thickness in self.thicknesses.items()
            if one.thicknesses is None or name in one.thicknesses
            for face in self.faces
            for unit in one.made(name=name, thickness=thickness, face=face, density=self.density_kg_m3)
        ]
        return _sorted((*self.units, *made))


def _sorted(units: Iterable[Unit]) -> tuple[Unit, ...]:
    return tuple(sorted(units, key=lambda u: (KINDS.index(u.kind), u.thickness, u.height, u.length, u.code)))


def _numbers(value: Any, path: str) -> Iterator[str]:
    """Walk the key paths of all numbers; items of a list go by their code."""
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _numbers(inner, f"{path}.{key}" if path else str(key))
    elif isinstance(value, (list, tuple)):
        for inner in value:
            own = inner.get("code") if isinstance(inner, Mapping) else None
            yield from _numbers(inner, f"{path}.{own}" if own else path)
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield path


def read(text: str, name: str) -> Catalogue:
    """Read a catalogue from YAML text; `name` is how errors call it.

    Raises
    ------
    wallquant.strictyaml.YamlError
        One sentence with file, line, column and key path.
    """
    return _catalogue(strictyaml.load(text, name=name))


def load(name: str | Path) -> Catalogue:
    """Return a shipped catalogue by its name, or read one from a file.

    Raises
    ------
    wallquant.strictyaml.YamlError
        If the file is not as it should be.
    ValueError
        If it is neither a shipped name nor a file.
    """
    if str(name) in names():
        return _shipped(str(name))
    path = Path(name)
    if not path.is_file():
        raise ValueError(f"there is no catalogue '{name}'; write one of {', '.join(names())}, or the path of a YAML file")
    return _catalogue(strictyaml.load_file(path))


def names() -> tuple[str, ...]:
    """Return the names of the shipped catalogues, sorted."""
    files = (entry.name for entry in resources.files("wallquant").joinpath("catalogues").iterdir())
    return tuple(sorted(n.removesuffix(".yaml") for n in files if n.endswith(".yaml")))


@cache
def _shipped(name: str) -> Catalogue:
    file = resources.files("wallquant").joinpath("catalogues", f"{name}.yaml")
    return read(file.read_text(encoding="utf-8"), f"{name}.yaml")


def _catalogue(document: strictyaml.Document) -> Catalogue:
    file = strictyaml.into(document, CatalogueFile)
    shared = {name: getattr(file, name) for name in _Common.model_fields}
    sources = {path: Source(basis=s.basis, text=s.text) for path, s in file.sources.items()}
    return Catalogue(**shared, thicknesses=file.thicknesses, series=file.series, units=file.listed(), sources=sources)


def schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a catalogue file."""
    made = CatalogueFile.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": SCHEMA, **made, "title": "wallquant catalogue"}


def choose(catalogues: Sequence[Catalogue], walls: Sequence[tuple[Nm, float]], unit: str) -> Catalogue:
    """Return the catalogue whose thicknesses fit most wall area.

    Ties go to the catalogue of the model's length unit (inch and foot being US), then by name.

    Parameters
    ----------
    catalogues : sequence of Catalogue
    walls : sequence of (int, float)
        Thickness as drawn (nanometres) and face area (m2) of each wall.
    unit : str
        The model's length unit as people write it.

    Raises
    ------
    ValueError
        If there is no catalogue to choose from.
    """
    if not catalogues:
        raise ValueError("there is no catalogue to choose from; name one")
    system = "in" if unit.strip().lower() in ("in", "inch", "inches", "ft", "foot", "feet", '"', "'") else "mm"

    def rank(one: Catalogue) -> tuple[object, ...]:
        fits = {t: one.standard(t) is not None for t in sorted({t for t, _ in walls})}
        return (-fsum(area for t, area in walls if fits[t]), one.system != system, one.code)

    return min(catalogues, key=rank)
