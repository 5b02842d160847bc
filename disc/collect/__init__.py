"""Whole collections: a folder of jobs or photograph pairs, worked through in parallel and summed up in one table.

In: a folder (items.py finds what is in it). Out: collection.csv, collection.parquet and groups.json (collect.py).
Each disc's row is written by itself as soon as it is done, so that a run may stop anywhere and go on later.
"""
