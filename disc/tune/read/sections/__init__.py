"""A turn written in sections: `parted.py` first.

two_tunes says whether a turn holds two tunes and where the second begins; parted writes each with its own bars, or with
the bar lines that a person set; strains folds what is played twice, with endings of their own where the passes differ.
"""
