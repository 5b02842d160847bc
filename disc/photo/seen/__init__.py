"""What a photograph does not show, and what it cannot be: where nothing can be told, and how sharp the picture is."""
