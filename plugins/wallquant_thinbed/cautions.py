"""The cautions that go with every plan, whatever its walls; rule site_cautions tells them."""

from __future__ import annotations

from dataclasses import dataclass

from wallquant.findings import Source


@dataclass(frozen=True, kw_only=True, slots=True)
class Caution:
    """A caution for every site: its name, what it says, and where it comes from."""

    title: str
    text: str
    source: Source


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        title="silica",
        text="Sawing, drilling and sanding block sets free crystalline silica: cut wet or with extraction at the tool. A stationary "
        "saw with integrated water feed needs no respirator; a handheld power saw needs water, and indoors, or for more than 4 hours "
        "outdoors, a respirator of factor 10; dry hand or band sawing needs its own exposure assessment",
        source=Source(basis="read", text="29 CFR 1926.1153 Table 1, printed in California Title 8, 1532.3"),
    ),
    Caution(
        title="mortar",
        text="Fresh mortar and grout are alkaline and burn skin and eyes: gloves, long sleeves and eye protection, and water at hand. No "
        "water is added to thin-bed mortar once it is mixed",
        source=Source(basis="practice", text="usual caution"),
    ),
    Caution(
        title="props",
        text="Lintels, U units and beams that are grouted in place stay propped until the grout has its strength; nothing is hung or fixed "
        "near the cut edges of openings before. Bars that stand up get caps, and scaffolds and open edges their guards",
        source=Source(basis="practice", text="usual caution"),
    ),
    Caution(
        title="wind",
        text="A wall without its roof or floors is blown down easily: brace it before a break in the work, cover its top, and stop in "
        "strong wind",
        source=Source(basis="practice", text="usual caution"),
    ),
    Caution(
        title="weather",
        text="Above 100 F (38 C), or above 90 F (32 C) with wind over 8 mph, hot-weather rules hold: shade materials and spread no more "
        "thin-bed mortar than is covered at once. Below 40 F (4 C) cold-weather rules hold: warm materials, lay nothing frozen, and keep "
        "fresh work from frost. Cover wall tops against rain and wind",
        source=Source(basis="read", text="TMS 602 as printed by the MCAA"),
    ),
    Caution(
        title="slab",
        text="No pallets on a young slab before the engineer allows it; then spread them, near walls or beams, one high",
        source=Source(basis="practice", text="usual caution"),
    ),
    Caution(
        title="local-codes",
        text="This plan is no structural design. Local codes, the project's engineer and the supplier's instructions go before it; "
        "stability, lintels, reinforcement, ties and movement joints are for a licensed engineer to confirm",
        source=Source(basis="practice", text="usual caution"),
    ),
)
