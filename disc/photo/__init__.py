"""Photographs of the two faces in; plate, camera, pins and what was not seen out.

The way of a pin: plate/ finds rim, arbor and stop slot; plane/ makes photo pixels millimetres; marks/ finds what stands
or stood, weighs it and makes pins; the two faces then explain each other (marks/other_face.py). Open read_face.py first
(one face; its steps are in face/), then read_faces.py (a disc's photos read together), combine_photos.py (brought
together by face) and read_photos.py (a job). several/ lays
photographs of one face on each other; seen/ says where nothing can be told; board/ reads the measuring sheet, close_up/
and scan/ other kinds of picture; sheets/ draws.
"""
