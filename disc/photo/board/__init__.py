"""The measuring sheet under the disc: drawn (`draw_sheet.py`), found in a photograph (`find_board.py`), what it tells.

`camera_of_board.py` solves the lens and the paper's place from the corners, `disc_on_sheet.py` where the disc lies on
it, `plain_ground.py` hides the print from the networks, `lens_memory.py` keeps the lens for later photographs.
"""
