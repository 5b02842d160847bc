"""Thousands of tunes, searched by what a disc plays."""
