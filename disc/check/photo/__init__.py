"""What the photographs alone show of pins, holes and how exactly the disc was made."""
