"""A comb plucked tooth by tooth:

`plucked_job.py` to `plucked.py`; which pluck is which tooth, its pitch and condition.
"""
