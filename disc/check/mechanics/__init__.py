"""What is too near to what, on a face, through the plate and in time."""
