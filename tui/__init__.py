"""The bench on a terminal: a Textual app that speaks to the hub through its client."""
