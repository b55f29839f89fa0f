"""What is kept: reeds, walks and every capture, in one SQLite file; and its export."""
