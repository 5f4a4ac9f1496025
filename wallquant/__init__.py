"""wallquant: block-by-block layouts, corner-first laying sequences and material schedules from open IFC wall models."""

__version__ = "0.1.0"
