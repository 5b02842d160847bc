"""Pictures of a part of a face, laid onto its whole reading by the pins themselves.

`match_pins.py` finds where a handful of marks lies among a face's pins, `read_close_up.py` reads one picture,
`lay_in.py` brings what it shows into the face's pins.
"""
