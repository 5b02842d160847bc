"""Settings of dividing heads and tables."""
