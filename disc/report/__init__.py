"""The condition report and the bench log: what was found, what was done, and the way back together.

In: a job. Out: report.pdf and report.html (condition.py), the bench log in log.json (log.py) and its put-back list
(put_back.py).
"""
