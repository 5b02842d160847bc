"""ABC notation to exact quarters: `read_abc.py` first.

read_abc parts a file into tunes and puts the voices together; abc_key reads the K: field, abc_body one voice's notes
between bar lines in ticks, and abc_repeats sets the bars in the order in which they are played.
"""
