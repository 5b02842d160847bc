"""The object's sheet: what it is, whose it is, who looked at it and in what state, in the words of museum practice.

In: what a person says (disc object). Out: object.json of the job, a section of the report, lines for offer and archive.
Open fields.py first: the fields and their units of information of Spectrum 5.1.
"""
