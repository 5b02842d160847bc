"""A reading drawn for the eye: over the photograph, flattened, as a map of both faces."""
