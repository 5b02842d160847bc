"""Pins, tooth and music in, findings with their evidence out."""
