"""Teaching: an unknown indicator's line settings and format, worked out from what it sends.

The core is pure: recorded bytes with their times go in, and what they show comes out, with the
reasons in words. Around it `listening` opens a serial port and looks for its speed, `by_air`
connects a Bluetooth device, `recorded` reads a recording; `hearing` is what the first two share:
it collects what comes, asks when it must, and stops as soon as the evidence is enough. `keeping`
writes what was taught into a file.
"""
