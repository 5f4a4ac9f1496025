"""wallquant catalogues: the catalogues that are there, and one as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from wallquant.cli import told

if TYPE_CHECKING:
    from wallquant.catalogue import Catalogue


@click.command(name="catalogues")
@click.argument("name", required=False)
def command(name: str | None) -> None:
    """List the catalogues, or print the catalogue NAME (or a file): units, joints, fit, limits, and where numbers come from."""
    from wallquant import catalogue, plugins

    brought = {p.stem: str(p) for p in plugins.load().catalogues}

    def read(one: str) -> Catalogue:
        book: Catalogue = told(lambda: catalogue.load(brought.get(one, one)))
        return book

    if name is None:
        for one in [*catalogue.names(), *sorted(brought)]:
            book = read(one)
            click.echo(f"{book.code}  {book.title}")
        return
    for line in _page(read(name)):
        click.echo(line)


def _page(book: Catalogue) -> list[str]:
    from wallquant.units import Nm, inch_text, mm_text

    def say(length: Nm) -> str:
        return inch_text(length, finest=64) if book.system == "in" else f"{mm_text(length)} mm"

    lines = [f"{book.code}: {book.title}", "", "Joints"]
    for word, r in (("bed", book.bed), ("head joint", book.head_joint), ("levelling bed", book.levelling_bed)):
        lines.append(f"  {word}: {say(r.least)} to {say(r.most)}, nominal {say(r.nominal)}")
    lines += ["Limits"]
    for word, length in (
        ("least piece, with one joint", book.least_piece),
        ("least rip", book.least_rip),
        ("least strip", book.least_strip),
        ("kerf", book.kerf),
    ):
        lines.append(f"  {word}: {say(length)}")
    lines.append("Fit (laid less drawn)")
    for word in ("free_end", "joined_end", "thickness", "top", "head", "sill", "jamb"):
        fit = getattr(book.fit, word)
        lines.append(f"  {word.replace('_', ' ')}: -{say(fit.minus)} to +{say(fit.plus)}")
    lines.append("Units (length x height x thickness; dry mass, as delivered)")
    for u in book.units:
        size = " x ".join(say(v) for v in (u.length, u.height, u.thickness))
        lines.append(f"  {u.code}: {u.kind}, {size}; {u.mass_dry_kg:.1f} kg, {book.delivered_kg(u):.1f} kg")
    lines.append("Where numbers come from")
    lines += [f"  {path}: {source}" for path, source in sorted(book.sources.items())]
    return lines
