"""What rooms say in English, as patterns, by subject: {names} stand for what changes.

A sentence that a room says to people in English is turned into another language by said.py, which looks for the pattern
it was made from (all_terms.py): a new one is written here, in the file of its subject, and the catalogues are brought
up to date (python -m disc.locale.update).
"""
