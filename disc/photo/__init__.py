"""Photographs in, pins out."""
