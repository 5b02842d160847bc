"""Several photographs of one face: laid onto each other by their pins, with one slot, brought together pin by pin.

`lay_on.py` finds how one set of marks lies on another, `one_slot.py` gives photographs of a face one slot, `fitting.py`
sets aside what does not fit, `merge_pins.py` makes one pin of its readings.
"""
