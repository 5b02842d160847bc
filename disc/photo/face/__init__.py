"""One photograph of a face on its way to pins, a step a module; read_face.py walks it.

seen_marks.py: plate, first plane and marks; exact_plane.py; face_slot.py; sureness.py.
"""
