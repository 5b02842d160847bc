"""What it means: matched or silent, weak, extra, of which tooth, and why that is said."""
