"""Reeds, styles and verdicts."""
