"""What the page shows, as JSON, and its static files."""
