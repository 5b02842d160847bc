"""Whole collections: a folder of jobs or photograph pairs, worked through in parallel and summed up in one table.

In: a folder (items.py finds what is in it). Out: collection.csv, collection.parquet, groups.json and
index.html, a page to look through (collect.py). An empty cell has its reason (reasons.py), and the same disc under two
names is told (same_disc.py).
Each disc's row is written by itself as soon as it is done, so that a run may stop anywhere and go on later.
"""
