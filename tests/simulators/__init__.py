"""Simulated indicators: what they send, and what can be done to them."""
