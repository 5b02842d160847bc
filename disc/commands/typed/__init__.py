"""What is typed behind an option and read: measures as a restorer writes them, places in photographs."""
