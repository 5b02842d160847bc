"""Printed music, MusicXML and kern, to exact quarters: `print_in.py` first.

musicxml_in reads MusicXML straight from its elements, kern goes through music21 under a budget of processor time
(budget). Both give a written score, bar by bar; written plays it out in the order that play_order finds in repeats,
endings and words.
"""
