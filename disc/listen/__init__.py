"""Recordings in, tooth pitches and a judged turn out."""
