"""Strikes of a turn to written music: `read_turn.py` first, then `read_tune.py` for one tune.

time/       the turn's own time made straight: the step of the grid, a drift, held notes, a slowing end
beat/       what beat, metre and bar line the straight strikes go by, and each strike's place in quarters
voices/     melody and accompaniment apart; rolled chords and ornaments taken for what they are
sections/   several tunes on a turn, and strains played twice, folded as they are printed
key, linear, model, certainty   key and mode; weighed features; the fitted numbers; how sure it may be said
said_notes, find_figures        what a person said of single notes; rolls, melody and ornaments before any grid
find_pace                       how the turn's time is bent, each way weighed by grid and metre together
"""
