"""A comb plucked tooth by tooth: `plucked_job.py` to `plucked.py`; which pluck is which tooth, its pitch and condition.

Numbering is one best path over attacks, and how sure it is by all paths (`plucks/`, `numbering.py`), with tones that
appear without a rise of the level (`sound/appearing.py`) and without what hums all through (`sound/steady_tones.py`).
A tooth's pitch is that of its settled decay (`tooth_sound.py`); which of its lines is the pitch goes by the whole
comb, whose partials stand alike from tooth to tooth (`along_comb.py`). A buzz is sixteen weak signs weighed together,
each against the nearest teeth in pitch and the recording's own spread, so that an instrument's colour falls out
(`tooth_cleanness.py`, `tooth_buzz.py`). What else was heard, and where the numbering may break, are doubts under the
teeth's final numbers (`doubtful.py`). Teeth in a said order, and one again alone: `guided.py`.
"""
