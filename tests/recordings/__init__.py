"""Recordings of every shipped format, made with the simulated indicator, and what they say."""
