"""Strikes in, written and sounding music out."""
