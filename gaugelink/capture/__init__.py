"""Settling, gestures and the walk: from readings to captures, without clock or I/O."""
