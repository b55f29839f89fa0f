"""The app's screens: bench, rack to choose from, gauges, teaching, help, and words on safety."""
