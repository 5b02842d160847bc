"""A recorded turn against the strikes to be expected: `hear_turn.py` first; then the rooms place, learn, hear, judge.

Several guesses at clock, tempo, place and octave are weighed against all strikes and all that sounds
(`place_in_recording.py`), each laid out by dynamic programming on what ringing does not explain (`tones.py`,
`disc_path.py`). Each tooth's own line is found from its own strikes, up to 120 cents off its table (`true_pitches.py`),
in what its companions' other strikes do not explain. Matching (`match_strikes.py`; only strikes explain, never peaks of
noise) is done again at the frequencies at which the teeth really ring (`tooth_voices.py`): a few cents off, ringing
seems to begin anew. What a weak tooth usually gives (`levels.py`) and the attack of a lone strike (`strike_attacks.py`)
are weighed. Each tooth's tone is tuned until it explains the tooth's own strikes (`tuned_voices.py`): some cents
beside, it explains none of them. Then each strike's own step is solved for with its twins and neighbours
(`strike_steps.py`), and what its companions leave in its band is learned from their other strikes (`leaks.py`); all
that together says sounded, silent or not to be told (`silent_strikes.py`, `silent_reasons.py`; a tooth none of whose
strikes shows a tone is dead, by all of them together), and which beginnings are extra (`extra_sounds.py` proposes by
`beginning_signs.py`, `single_extra.py` decides, with the neighbours that a strike may take along). A strike is early or
late only where its own tone rises there, and is looked for there before it is called silent, or weak by what only rings
on (`early_late.py`). Weak is
a strike against its tooth's others, and a tooth against the nearest in pitch (`weak_strikes.py`). Teeth of one pitch
are told apart by exact cents and fall (`which_tooth.py`). The motion is a Gaussian process in which pitches, and in
every lap pins, may be late alike (`speed.py`), with the swings of wheels that are not round (`swing.py`), the mean of
all courses that may be (`mean_course.py`), and the whirr's course where that lasts and the strikes agree (`whirr.py`).
Several recordings of one turn: `pool_turns.py`.
"""
