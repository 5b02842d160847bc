"""What stands or stood on a flattened face:

networks find marks, `site_odds.py` weighs them, `pins_from_sites.py` makes pins.
"""
