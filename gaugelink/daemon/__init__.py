"""The hub: gauges, walks and followers; the protocol they speak; and the client to reach it."""
