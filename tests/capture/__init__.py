"""Readings to captures: settling and the walk."""
