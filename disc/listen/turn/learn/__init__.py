"""The comb learned from the recording: each tooth's true pitch, its exact tone and its fall."""
