"""The training of the network that hears bar lines; needs torch and is run on another machine."""
