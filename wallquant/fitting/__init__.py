"""What the drawing costs, for its designer: sizes that miss the module (`modularity`)."""
