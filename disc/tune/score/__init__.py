"""A tune from a file to exact quarters, read safely: `read_score.py` first.

files/     what kind of file it is, how large, and what it would unfold to, before any reader sees it; old texts decoded
abc/       ABC, the program's one reader of it
printed/   MusicXML and kern: bars as they are written, then played out
midi_in    MIDI
records, ranks, lead    the tune as a file gives it; which notes are melody, bass and filling; which part is the tune
"""
