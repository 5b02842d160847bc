"""Measures as a restorer writes them: pitches, lengths and angles from words to the house's own units.

In: text from a table's cell or a command's option. Out: MIDI numbers, millimetres, degrees; BadInput, one line, where
the words are wrong or could mean two things. Open first: pitch.pitch_from, length.length_mm, angle.angle_deg.
"""
