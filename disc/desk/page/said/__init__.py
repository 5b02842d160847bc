"""What the page says in English, by the part of it that says it; all_said.py gathers the parts. Open that first."""
