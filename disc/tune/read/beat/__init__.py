"""Beat, metre and bar line, and every strike's place in exact quarters: `metre.py` first.

pulse lists the readings that a grid allows and what speaks for each; rhythm says how likely a melody's gaps are against
a bar line (both fitted, model.json); bar_lines is a small network's opinion, which counts in plain tunes; metre scores
them all and keeps what is plausible; quantise then sets each strike on the grid, or in triplets where a beat is set
that way; later_lines tells at a look what the lines gain where all after some strike stands later; explain says why a
reading lost, in a musician's words.
"""
