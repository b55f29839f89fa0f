"""Where presses come from, and what they are mapped to."""
