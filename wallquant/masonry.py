"""What masonry is made of: units and the series they are made in, with volumes and weights; joints; and fit."""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import fsum, pi
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, WithJsonSchema, model_validator
from pydantic.types import Strict

from wallquant.units import Nm, mm_text, parse_length

Kind = Literal["standard", "core", "U", "lintel"]
KINDS: tuple[Kind, ...] = ("standard", "core", "U", "lintel")


def _length(value: object, info: ValidationInfo) -> object:
    if isinstance(value, str):
        return parse_length(value)
    if info.context and info.context.get("text"):
        bare = value if isinstance(value, (int, float)) and not isinstance(value, bool) else 199
        raise ValueError(f"a length needs its unit; write '{bare} mm', or like '7-7/8 in'")
    return value


_LENGTH_TEXT = {"type": "string", "pattern": "\\d.*(mm|cm|m|in|ft|[\"'])\\s*$", "examples": ["199 mm", "7-7/8 in"]}
Signed = Annotated[Nm, Strict(), BeforeValidator(_length), WithJsonSchema(_LENGTH_TEXT)]
Length = Annotated[Signed, Field(ge=0)]
Size = Annotated[Signed, Field(gt=0)]
Number = Annotated[float, Strict(), Field(ge=0, allow_inf_nan=False)]
Positive = Annotated[float, Strict(), Field(gt=0, allow_inf_nan=False)]
Count = Annotated[int, Strict(), Field(gt=0)]


def patterned(pattern: str, wanted: str) -> Any:
    """Return the type of a text that matches a pattern as a whole; `wanted` says in words what to write."""

    def check(value: str) -> str:
        if not re.fullmatch(pattern, value):
            raise ValueError(f"'{value}' does not do here; write {wanted}")
        return value

    return Annotated[str, AfterValidator(check), Field(json_schema_extra={"pattern": f"^{pattern}$"})]


if TYPE_CHECKING:
    Code = str
    FaceCode = str
else:
    Code = patterned("[A-Za-z0-9][A-Za-z0-9._-]*", "letters, digits, '.', '_' and '-', without spaces")
    FaceCode = patterned("[0-9.]+x[0-9.]+", "the nominal length and height, like '600x200'")


class Model(BaseModel):
    """Frozen, and strict about keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_inf_nan="strings")


class Range(Model):
    """A joint or bed: the least, the usual and the most thickness."""

    least: Length
    nominal: Length
    most: Length

    @model_validator(mode="after")
    def _rising(self) -> Range:
        if not self.least <= self.nominal <= self.most:
            raise ValueError("least, nominal and most are to rise; sort them")
        return self


class LevellingBed(Range):
    """The bed under course 1; `target` is wanted at the highest point of the slab, `nominal` is what courses are counted with."""

    target: Length

    @model_validator(mode="after")
    def _within(self) -> LevellingBed:
        if not self.least <= self.target <= self.most:
            raise ValueError("target is to lie between least and most")
        return self


class Fit(Model):
    """How far laid may differ from drawn, limits included: laid lies in [drawn - `minus`, drawn + `plus`]."""

    minus: Length
    plus: Length

    def holds(self, *, drawn: Nm, laid: Nm) -> bool:
        """Whether `laid` is within the tolerance of `drawn` (nanometres)."""
        return drawn - self.minus <= laid <= drawn + self.plus


class Fits(Model):
    """The fit of each kind of size.

    `free_end`: where a run ends free; `joined_end`: the length of a run between its corners; `thickness`: of a wall;
    `top`: level of a wall's top; `head`, `sill`: level of an opening's head and sill; `jamb`: station of a jamb.
    """

    free_end: Fit
    joined_end: Fit
    thickness: Fit
    top: Fit
    head: Fit
    sill: Fit
    jamb: Fit


class Face(Model):
    """The face of a unit: actual length and height; `code` is the nominal length x height, like ``600x200``."""

    code: FaceCode
    length: Size
    height: Size


class Core(Model):
    """A vertical hole: `station` from the unit's start, `offset` from its centre line (positive left), `diameter`."""

    station: Size
    offset: Signed = 0
    diameter: Size


class Trough(Model):
    """The trough of a U unit, open at the top, through its length and in the middle of its thickness."""

    width: Size
    depth: Size


class Unit(Model):
    """A masonry unit as bought; sizes are actual sizes.

    Attributes
    ----------
    density_kg_m3 : float
        Dry, of the solid material.
    pallet : int or None
        How many a pallet holds; None where not known.
    virtual : bool
        Whether it stands in for a thickness that the catalogue does not have.
    """

    code: Code
    title: str
    kind: Kind
    length: Size
    height: Size
    thickness: Size
    cores: tuple[Core, ...] = ()
    trough: Trough | None = None
    density_kg_m3: Positive
    pallet: Count | None = None
    virtual: bool = False

    @model_validator(mode="after")
    def _holes(self) -> Unit:
        if self.kind == "core" and not self.cores:
            raise ValueError("a core unit needs at least one core; add 'cores'")
        if self.kind == "U" and self.trough is None:
            raise ValueError("a U unit needs its trough; add 'trough'")
        if self.cores and self.trough:
            raise ValueError("a unit has cores or a trough, not both; take one out")
        for core in self.cores:
            inside = core.diameter <= 2 * min(core.station, self.length - core.station)
            if not inside or 2 * abs(core.offset) + core.diameter > self.thickness:
                raise ValueError("a core does not lie inside the unit; move it or make it smaller")
        if self.trough and (self.trough.width >= self.thickness or self.trough.depth >= self.height):
            raise ValueError("the trough is as large as the unit; make it smaller")
        return self

    @property
    def volume_m3(self) -> float:
        """Outer volume, cubic metres."""
        return self.length * self.height * self.thickness / 1e27

    @property
    def solid_m3(self) -> float:
        """Volume less cores and trough, cubic metres."""
        cores = fsum(pi / 4 * core.diameter**2 * self.height for core in self.cores)
        trough = self.trough.width * self.trough.depth * self.length if self.trough else 0
        return self.volume_m3 - (cores + trough) / 1e27

    @property
    def mass_dry_kg(self) -> float:
        """Mass of the solid material at its dry density, kilograms."""
        return self.solid_m3 * self.density_kg_m3


class Series(Model):
    """One kind of unit in several thicknesses, faces and, for lintels, lengths; codes are made from their nominal names.

    A core lies on the centre line, half the thickness from the unit's start, where `web` is left around it; a trough leaves
    `flange` on each side and `base` below.  A thickness that leaves no room has no such unit.
    """

    code: Code
    title: str
    kind: Kind
    thicknesses: Annotated[tuple[str, ...], Field(description="Names from the catalogue's thicknesses; all if left out.")] | None = None
    lengths: Annotated[dict[str, Size], Field(description="Nominal name to actual length; the face's own if left out.")] | None = None
    core_diameter: Size | None = None
    web: Length = 0
    flange: Size | None = None
    base: Size | None = None
    density_kg_m3: Positive | None = None
    pallet: Annotated[dict[str, Count], Field(description="Thickness name to units a pallet.")] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _complete(self) -> Series:
        if self.kind == "core" and self.core_diameter is None:
            raise ValueError("a series of kind core needs its 'core_diameter'; add it")
        if self.kind == "U" and (self.flange is None or self.base is None):
            raise ValueError("a series of kind U needs its 'flange' and 'base'; add them")
        if self.kind != "core" and self.core_diameter is not None:
            raise ValueError(f"a series of kind {self.kind} has no cores; take 'core_diameter' out, or write kind: core")
        if self.kind != "U" and (self.flange is not None or self.base is not None):
            raise ValueError(f"a series of kind {self.kind} has no trough; take 'flange' and 'base' out, or write kind: U")
        if self.kind == "lintel" and not self.lengths:
            raise ValueError("a series of lintels needs its 'lengths'; add them")
        return self

    def made(self, *, name: str, thickness: Nm, face: Face, density: float, virtual: bool = False) -> Iterator[Unit]:
        """Make the units of a series in one thickness and face; none where the thickness leaves no room for core or trough."""
        long, _, high = face.code.partition("x")
        cores: tuple[Core, ...] = ()
        trough = None
        if self.core_diameter is not None:
            if thickness < self.core_diameter + 2 * self.web:
                return
            cores = (Core(station=thickness // 2, diameter=self.core_diameter),)
        if self.flange is not None and self.base is not None:
            if thickness <= 2 * self.flange or face.height <= self.base:
                return
            trough = Trough(width=thickness - 2 * self.flange, depth=face.height - self.base)
        for nominal, length in sorted((self.lengths or {long: face.length}).items(), key=lambda pair: pair[1]):
            if cores and (thickness + cores[0].diameter) // 2 > length:
                continue
            size = f"{nominal}x{high}x{name}"
            yield Unit(
                code=f"{'any-' if virtual else ''}{self.code}-{size}",
                title=f"{'Virtual: ' if virtual else ''}{self.title} {size}",
                kind=self.kind,
                length=length,
                height=face.height,
                thickness=thickness,
                cores=cores,
                trough=trough,
                density_kg_m3=self.density_kg_m3 or density,
                pallet=self.pallet.get(name),
                virtual=virtual,
            )


MEASURED = "any-lintel-"
"""How the code of a lintel made to measure begins; length, height and thickness in mm follow."""


def measured_lintel(length: Nm, height: Nm, thickness: Nm, density: float) -> Unit:
    """Return a virtual lintel of exactly these sizes, ``any-lintel-<length>x<height>x<thickness>`` in mm, that nobody stocks."""
    size = "x".join(mm_text(one) for one in (length, height, thickness))
    return Unit(
        code=f"{MEASURED}{size}",
        title=f"Virtual: lintel made to measure, {size} mm",
        kind="lintel",
        length=length,
        height=height,
        thickness=thickness,
        density_kg_m3=density,
        virtual=True,
    )
