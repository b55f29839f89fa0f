"""Bytes to readings: framing, checksums, decoding, descriptions."""
