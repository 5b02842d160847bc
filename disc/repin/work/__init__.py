"""What to do at each place, where exactly, with which wire and drill, and what it costs."""
