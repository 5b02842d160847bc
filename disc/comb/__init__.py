"""The comb: its table, its tracks on the disc, which pin sounds which tooth, the physics of a tooth."""
