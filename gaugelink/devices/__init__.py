"""Links, framing, decoding and device descriptions: from bytes to readings."""
