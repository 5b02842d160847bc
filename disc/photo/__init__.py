"""Photographs of the two faces in; plate, camera and pins out.

Open read_face.py first: read_face(photo, side, plate, settings) -> FaceReading, a short list of named steps.
read_job.py does the same for a job folder; view.py maps photo pixels to disc millimetres and back.
"""
