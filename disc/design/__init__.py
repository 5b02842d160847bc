"""A tune and a comb in, a new disc's layout out.

Open plan.py first (tune + comb + plate -> Design), then arrange.py (which note goes to which tooth, by a mixed-integer
programme), rules.py (what a layout must keep), design_job.py (the job folder it writes), picture.py (how it looks).
"""
