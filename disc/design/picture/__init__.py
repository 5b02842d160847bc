"""The planned disc as a camera would see it."""
