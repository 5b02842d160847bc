"""Files of tunes to printed tunes, and which prints are one tune."""
