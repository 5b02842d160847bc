"""One turn of the disc: its strikes, what had to be estimated for them, and the tune as written."""
