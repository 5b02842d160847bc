"""Where the disc was at each moment: tones by pitch, guesses at clock and tempo, the path, the speed curve."""
