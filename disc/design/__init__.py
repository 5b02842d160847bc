"""A tune and a comb in, a new disc's layout out.

Open plan.py first (tune + comb + plate -> Design), then arrange/ (which note goes to which tooth, by a mixed-integer
programme), accompany.py and ornaments.py (what is made of chord symbols, of small notes and signs), two_tunes.py (two
of them on one disc), design_job.py (the job folder it writes) with summary.py (what is said of it), picture/ (how it
looks).
"""
