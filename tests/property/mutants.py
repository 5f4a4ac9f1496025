"""IFC texts damaged on purpose: each is a function of its base, its seed and nothing else.

A mutant is a whole model with one to three changes.  Most changes are made inside statements, so that the text still passes for
STEP and the damage reaches the reader; some are made to bytes and lines, as broken copies and editors make them.
"""

from __future__ import annotations

import pathlib
import random
import re
from collections.abc import Callable

from tests.unit.ifc_maker import Maker

SAMPLES = pathlib.Path(__file__).parents[2] / "sample_models"
LARGEST = 300_000
"""Bytes of an open model that is still mutated; larger ones make the harness slow and hold no other kinds of statement."""

_STATEMENT = re.compile(rb"^#(\d+)\s*=\s*([A-Z0-9_]+)\s*\((.*)\);[ \t\r]*$", re.MULTILINE)
_NUMBER = re.compile(rb"(?<![#\w'.])-?\d+\.?\d*(?:E[-+]?\d+)?(?![\w'])", re.IGNORECASE)
_REFERENCE = re.compile(rb"#\d+")
_STRING = re.compile(rb"'(?:[^']|'')*'")
NUMBERS = (
    b"0.", b"-0.", b"0", b"-1.", b"-2500.", b"1.E-9", b"1.E-320", b"1.E30", b"-1.E30", b"1.E308", b"1.E400", b"-1.E400", b"1.#INF",
    b"1.#QNAN", b"NAN", b"INF", b"-NAN", b"9999999999999999999999", b"2147483648", b"-2147483649", b"1.", b"1000000.", b"3", b"$", b"*",
    b"()", b"''", b".T.", b".UNSET.", b"#1", b"1.5.2", b"0x10", b"1,2", b"1.E", b"IFCREAL(1.E400)", b"IFCLABEL('x')",
)  # fmt: skip
VALUES = (
    b"$", b"*", b"()", b"''", b"0.", b"-1.", b"1.E400", b".F.", b".NOTDEFINED.", b".NOSUCHWORD.", b"'\\X2\\D83D\\X0\\'", b"((()))", b"($)",
)  # fmt: skip
NAMES = (
    b"'\\X2\\05E705D905E8\\X0\\'", b"'\\X4\\0001F9F1\\X0\\'", b"'\\X\\00'", b"'\\X2\\202E0041\\X0\\'", b"'\\X2\\D83D\\X0\\'",
    b"'\\X2\\00'", b"'\\S\\'", b"'\\PZ\\a'", b"'\xd7\xa7\xff'", b"'" + b"n" * 70_000 + b"'", b"'</script><b>'", b"'=1+1'", b"'../../up'",
    b"'a\\nb'", b"'\x00\x07'", b"'a\\X\\0Ab'",
)  # fmt: skip
"""Right-to-left script, an emoji, a control character, an override of direction, half a surrogate pair, escapes that do not end ..."""


class Text:
    """A model as its lines; `where` are the lines that hold one statement of the data section."""

    def __init__(self, data: bytes) -> None:
        self.lines = data.replace(b"\r\n", b"\n").split(b"\n")
        self.where: list[int] = []
        self.kinds: dict[bytes, list[int]] = {}
        for at, line in enumerate(self.lines):
            match = _STATEMENT.match(line)
            if match:
                self.where.append(at)
                self.kinds.setdefault(match[2], []).append(at)

    def number(self, at: int) -> bytes:
        return self.lines[at][: self.lines[at].index(b"=")].strip()

    def body(self, at: int) -> tuple[bytes, bytes]:
        line = self.lines[at]
        opening = line.index(b"(")
        return line[: opening + 1], line[opening + 1 : line.rindex(b")")]

    def put(self, at: int, head: bytes, body: bytes) -> None:
        self.lines[at] = head + body + b");"

    def values(self, at: int) -> tuple[bytes, list[bytes]]:
        head, body = self.body(at)
        return head, split(body)

    def data(self) -> bytes:
        return b"\n".join(self.lines)


def split(body: bytes) -> list[bytes]:
    """Return the values of a statement, at its commas that are in no bracket and no text."""
    parts, depth, start, quoted = [], 0, 0, False
    for i, char in enumerate(body):
        if char == 39:
            quoted = not quoted
        elif not quoted and char in b"()":
            depth += 1 if char == 40 else -1
        elif not quoted and depth == 0 and char == 44:
            parts.append(body[start:i])
            start = i + 1
    return [*parts, body[start:]]


def _line(text: Text, dice: random.Random) -> int:
    """A statement; each kind of entity is as likely as any other, so that rare kinds are met too."""
    return dice.choice(text.kinds[dice.choice(sorted(text.kinds))])


def _with(pattern: re.Pattern[bytes], text: Text, dice: random.Random, new: Callable[[bytes], bytes]) -> None:
    for _ in range(50):
        at = _line(text, dice)
        head, body = text.body(at)
        found = list(pattern.finditer(body))
        if found:
            one = dice.choice(found)
            text.put(at, head, body[: one.start()] + new(one[0]) + body[one.end() :])
            return


def number(text: Text, dice: random.Random) -> None:
    _with(_NUMBER, text, dice, lambda _: dice.choice(NUMBERS))


def scaled(text: Text, dice: random.Random) -> None:
    _with(_NUMBER, text, dice, lambda old: str(float(old) * dice.choice((-1, 1e-6, 1e6, 0.5, 1e12))).upper().encode())


def reference(text: Text, dice: random.Random) -> None:
    _with(_REFERENCE, text, dice, lambda _: text.number(_line(text, dice)))


def own_reference(text: Text, dice: random.Random) -> None:
    """A statement that refers to itself, or to what refers to it."""
    for _ in range(50):
        at = _line(text, dice)
        head, body = text.body(at)
        found = list(_REFERENCE.finditer(body))
        if found:
            one = dice.choice(found)
            users = [w for w in text.where if re.search(rb"%s\b" % text.number(at), text.body(w)[1])]
            target = text.number(dice.choice([at, *users]))
            text.put(at, head, body[: one.start()] + target + body[one.end() :])
            return


def lost_reference(text: Text, dice: random.Random) -> None:
    _with(_REFERENCE, text, dice, lambda _: dice.choice((b"#99999999", b"#0", b"#18446744073709551617")))


def value(text: Text, dice: random.Random) -> None:
    at = _line(text, dice)
    head, values = text.values(at)
    values[dice.randrange(len(values))] = dice.choice(VALUES)
    text.put(at, head, b",".join(values))


def value_count(text: Text, dice: random.Random) -> None:
    at = _line(text, dice)
    head, values = text.values(at)
    i = dice.randrange(len(values))
    values[i : i + 1] = [] if dice.random() < 0.5 else [values[i], values[i]]
    text.put(at, head, b",".join(values))


def swapped(text: Text, dice: random.Random) -> None:
    at = _line(text, dice)
    head, values = text.values(at)
    dice.shuffle(values)
    text.put(at, head, b",".join(values))


def listed(text: Text, dice: random.Random) -> None:
    """A list gets longer, shorter, or empty."""

    def new(old: bytes) -> bytes:
        inner = split(old[1:-1])
        return b"(" + b",".join(dice.choice(([], inner[:1], inner[:-1], inner * 2, inner[::-1], inner * 200))) + b")"

    _with(re.compile(rb"\([^()']+\)"), text, dice, new)


def name(text: Text, dice: random.Random) -> None:
    _with(_STRING, text, dice, lambda _: dice.choice(NAMES))


def guid(text: Text, dice: random.Random) -> None:
    """Two elements with one GlobalId, or one without."""
    rooted = [w for w in text.where if re.match(rb"'[0-9A-Za-z_$]{22}'", text.body(w)[1])] or [_line(text, dice)]
    at, other = dice.choice(rooted), dice.choice(rooted)
    head, values = text.values(at)
    values[0] = dice.choice((text.values(other)[1][0], text.values(other)[1][0], b"''", b"$", b"'short'"))
    text.put(at, head, b",".join(values))


def kind(text: Text, dice: random.Random) -> None:
    at = _line(text, dice)
    _, body = text.body(at)
    other = dice.choice([*sorted(text.kinds), b"IFCNOSUCHTHING", b"IFCPRODUCT", b"IFCLENGTHMEASURE", b"IFCWALL"])
    text.put(at, text.number(at) + b"=" + other + b"(", body)


def dropped(text: Text, dice: random.Random) -> None:
    """A statement goes; what referred to it refers to nothing, or to what is not there."""
    at = _line(text, dice)
    gone = text.number(at)
    text.lines[at] = b""
    if dice.random() < 0.8:
        for w in text.where:
            if gone in text.lines[w]:
                head, body = text.body(w)
                text.put(w, head, re.sub(rb"%s\b" % gone, b"$", body))


def doubled(text: Text, dice: random.Random) -> None:
    """A statement again, under its own number or under another one."""
    at = _line(text, dice)
    line = text.lines[at]
    again = line if dice.random() < 0.3 else b"#8%07d" % dice.randrange(10**6) + line[line.index(b"=") :]
    text.lines[at] = line + b"\n" + again


def circle(text: Text, dice: random.Random) -> None:
    """Placements that stand on themselves: one alone, or a ring of them."""
    placed = text.kinds.get(b"IFCLOCALPLACEMENT", [])
    ring = dice.sample(placed, min(len(placed), dice.choice((1, 1, 2, 3))))
    for one, other in zip(ring, ring[1:] + ring[:1], strict=True):
        head, values = text.values(one)
        text.put(one, head, b",".join([text.number(other), *values[1:]]))


def own_map(text: Text, dice: random.Random) -> None:
    """A body that is a map of itself, directly or through a second one."""
    shapes = text.kinds.get(b"IFCSHAPEREPRESENTATION", [])
    at = dice.choice(shapes) if shapes else _line(text, dice)
    axes = next((text.number(w) for w in text.kinds.get(b"IFCAXIS2PLACEMENT3D", [])), b"$")
    points = text.kinds.get(b"IFCCARTESIANPOINT", [])
    point = text.number(points[0]) if points else b"$"
    head, values = text.values(at)
    target = text.number(dice.choice(shapes)) if shapes and dice.random() < 0.3 else text.number(at)
    more = dice.choice((b"", b",#70000002", values[-1][1:-1].join((b",", b""))))
    text.put(at, head, b",".join([*values[:-1], b"(#70000002" + more + b")"]))
    text.lines[at] += (
        b"\n#70000000=IFCREPRESENTATIONMAP(%s,%s);\n#70000001=IFCCARTESIANTRANSFORMATIONOPERATOR3D($,$,%s,$,$);"
        b"\n#70000002=IFCMAPPEDITEM(#70000000,#70000001);" % (axes, target, point)
    )  # fmt: skip


def nested(text: Text, dice: random.Random) -> None:
    """Brackets, or a chain of placements, thousands deep."""
    depth = dice.choice((100, 3_000, 20_000))
    at = _line(text, dice)
    head, values = text.values(at)
    if dice.random() < 0.5:
        values[dice.randrange(len(values))] = b"(" * depth + b")" * depth
        text.put(at, head, b",".join(values))
    elif b"IFCLOCALPLACEMENT" in text.kinds:
        at = dice.choice(text.kinds[b"IFCLOCALPLACEMENT"])
        head, values = text.values(at)
        chain = [b"#%d=IFCLOCALPLACEMENT(#%d,%s);" % (60_000_000 + i, 60_000_001 + i, values[1]) for i in range(depth)]
        chain.append(b"#%d=IFCLOCALPLACEMENT($,%s);" % (60_000_000 + depth, values[1]))
        text.put(at, head, b"#60000000," + b",".join(values[1:]))
        text.lines[at] += b"\n" + b"\n".join(chain)


def lines(text: Text, dice: random.Random) -> None:
    at = dice.randrange(len(text.lines))
    line = text.lines[at]
    cut = dice.randrange(len(line) + 1)
    other = dice.choice(text.lines)
    text.lines[at : at + 1] = dice.choice(([], [line, line], [line[:cut]], [line[cut:]], [other], [line[:cut] + other], [b"/*", line]))


STATEMENTS: tuple[Callable[[Text, random.Random], None], ...] = (
    number, number, number, scaled, reference, reference, own_reference, lost_reference, value, value, value_count, swapped, listed, name,
    guid, kind, dropped, doubled, circle, own_map, nested, lines,
)  # fmt: skip


def bytes_changed(data: bytes, dice: random.Random) -> bytes:
    """Some bytes changed, taken out or put in, or the rest cut off."""
    how = dice.randrange(5)
    if how == 0:
        cut = data[: dice.randrange(len(data))]
        return cut + (b"\nENDSEC;\nEND-ISO-10303-21;\n" if dice.random() < 0.5 else b"")
    changed = bytearray(data)
    for _ in range(dice.choice((1, 2, 8))):
        at = dice.randrange(len(changed))
        if how == 1:
            changed[at] = dice.randrange(256)
        elif how == 2:
            del changed[at : at + dice.choice((1, 1, 40, 4000))]
        elif how == 3:
            changed[at:at] = bytes(dice.randrange(256) for _ in range(dice.choice((1, 5))))
        else:
            changed[at] = dice.choice(b"#$*(),;'=\\/.0123456789EIFC \n\"\x00")
    return bytes(changed)


def mutant(data: bytes, seed: str) -> bytes:
    """Return a model with one to three changes; equal arguments give equal bytes."""
    dice = random.Random(seed)
    if dice.random() < 0.12:
        return bytes_changed(data, dice)
    for _ in range(dice.choice((1, 1, 1, 2, 3))):
        text = Text(data)
        if not text.kinds:
            return bytes_changed(data, dice)
        dice.choice(STATEMENTS)(text, dice)
        data = text.data()
    return data


def bases(folder: pathlib.Path) -> dict[str, bytes]:
    """Return the models that are mutated, by name: ours, some made here, and small open ones where they are to be had."""
    found = {f"made-{schema}": made(folder, schema) for schema in ("IFC2X3", "IFC4", "IFC4X3_ADD2")}
    found |= {path.stem: path.read_bytes() for path in sorted(SAMPLES.glob("*.ifc"))}
    open_models = next((p / "shared" / "open_models" for p in SAMPLES.parents if (p / "shared" / "open_models").is_dir()), None)
    for path in sorted(open_models.glob("*.ifc")) if open_models else ():
        if path.stat().st_size <= LARGEST:
            found[path.stem] = path.read_bytes()
    return found


def made(folder: pathlib.Path, schema: str) -> bytes:
    """A small model with every way of saying things that the reader knows: clips, maps, layers, openings, parts, arcs."""
    maker = Maker(schema)
    maker.add_storey("ground", 0)
    gable = maker.cut(
        maker.extruded(maker.rectangle(4000, 200, (2000, 0)), 3000), maker.half_space((0, 0, 2000), (-1, 0, 1)),
        maker.half_space((3000, 0, 2600), (0.5, 0, 1), [(2000, -500), (5000, -500), (5000, 500), (2000, 500)]),
    )  # fmt: skip
    wall = maker.wall(gable, axis=maker.polyline([(0, 0), (4000, 0)]), place=maker.placed((100, 0, 0)), name="gable")
    maker.fill(maker.opening(wall, maker.box(1000, 1900, 0, 1800)), "IfcDoor", 900.0, 1800.0)
    source = maker.add(
        "IfcShapeRepresentation", maker.context, "Body", "SweptSolid", [maker.extruded(maker.rectangle(3000, 240, (1500, 0)), 2500)]
    )
    body = maker.add("IfcRepresentationMap", maker.axes(), source)
    for i in range(2):
        operator = maker.add("IfcCartesianTransformationOperator3D", None, None, maker.point(0, 0, 0), None, None)
        maker.wall(maker.add("IfcMappedItem", body, operator), place=maker.placed((0, 3000 * (i + 1), 0)), name=f"mapped {i}")
    hole = maker.outline([(0, 0), (2000, 0), (2000, 2200), (0, 2200)], [[(500, 500), (900, 500), (900, 900), (500, 900)]])
    maker.wall(maker.extruded(hole, 150, (0, 0, 0), (0, -1, 0), (1, 0, 0)), place=maker.placed((6000, 0, 0), (0, 1, 0)), name="lying")
    circle = maker.add("IfcCircle", maker.add("IfcAxis2Placement2D", maker.point(0, 0)), 3000.0)
    trims = [[maker.add("IfcParameterValue", angle)] for angle in (0.0, 1.0)]
    arc = maker.add("IfcTrimmedCurve", circle, *trims, True, "PARAMETER")
    outline = maker.outline([(3000, 0), (3200, 0), (1600, 2771), (1500, 2598)])
    maker.wall(maker.extruded(outline, 2500), axis=arc, place=maker.placed((9000, 0, 0)), name="curved")
    layer = maker.add("IfcMaterialLayer", maker.add("IfcMaterial", "block"), 200.0, None)
    layers = maker.add("IfcMaterialLayerSet", [layer], "layers")
    usage = maker.add("IfcMaterialLayerSetUsage", layers, "AXIS2", "POSITIVE", -100.0)
    maker.root("IfcRelAssociatesMaterial", RelatedObjects=[wall], RelatingMaterial=usage)
    corners = [(x, y, z) for z in (0, 2500) for x, y in ((0, 0), (2000, 0), (2000, 200), (0, 200))]
    sides = [(3, 2, 1, 0), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    points = [maker.point(*c) for c in corners]
    bounds = [maker.add("IfcFaceOuterBound", maker.add("IfcPolyLoop", [points[i] for i in side]), True) for side in sides]
    shell = maker.add("IfcClosedShell", [maker.add("IfcFace", [bound]) for bound in bounds])
    maker.wall(maker.add("IfcFacetedBrep", shell), place=maker.placed((0, 12000, 0)), name="faces")
    if schema != "IFC2X3":
        listed = maker.add("IfcCartesianPointList3D", [tuple(float(v) for v in c) for c in corners])
        triangles = [[s[i] + 1 for i in three] for s in sides for three in ((0, 1, 2), (0, 2, 3))]
        body = maker.add("IfcTriangulatedFaceSet", Coordinates=listed, Closed=True, CoordIndex=triangles)
        maker.wall(body, place=maker.placed((4000, 12000, 0)), name="triangles")
        flat = maker.add("IfcCartesianPointList2D", [(0.0, 0.0), (2000.0, 0.0), (2000.0, 200.0), (0.0, 200.0)])
        ring = maker.add("IfcIndexedPolyCurve", flat, [maker.add("IfcLineIndex", (1, 2, 3, 4, 1))], False)
        profile = maker.add("IfcArbitraryClosedProfileDef", "AREA", None, ring)
        maker.wall(maker.extruded(profile, 2500), place=maker.placed((8000, 12000, 0)), name="indexed")
    return maker.write(folder, f"{schema}.ifc").read_bytes()
