"""The open job in memory: what was read and corrected, its history, and what follows from it after every edit.

`session.py` first: it holds the job, lays what is asked for on top of it (`edits`, `changes`, `datum`) and keeps each
step (`history`, `file_memory`); what follows is worked out by `teeth`, `derive`, `live_check` and `heard`.
"""
