"""Teaching: an unknown indicator's line settings and format, worked out from what it sends.

Everything but `listening` is pure: recorded bytes with their times go in, and what they show comes
out, with the reasons in words. `listening` opens the port, chooses what to listen to next, and
stops as soon as the evidence is enough.
"""
