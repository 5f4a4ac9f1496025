"""What the drawing costs, for its designer.

Sizes that miss the module (`modularity`, with `module` and `stretches`), and the least change that makes the drawing fit (`change`): what
can move (`things`), what a stretch costs by its length (`tables`), the exact optimisation (`programme`), heights and thicknesses
(`heights`), the moved building (`moving`), and its sentences (`telling`).
"""
