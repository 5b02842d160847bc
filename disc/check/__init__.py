"""Findings: what is missing, bent, abandoned or mis-set, each with its evidence and how sure it is.

In: pins, comb, plate, the tune as read, perhaps a reference tune. Out: records.Finding, of the kinds in kinds.py.
Open judge.py first; check_job.py ties it to a job folder, decisions.py holds what a person said to the findings.
"""
