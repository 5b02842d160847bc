"""Do pins, comb, plate and music belong together? Alternatives weighed: `fit_doubts.py` names the likely correction."""
