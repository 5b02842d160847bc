"""What the music says of a place: repeats, beats, a known tune."""
