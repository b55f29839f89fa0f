"""gaugelink: a digital indicator's hundredths, captured hands-free for the hand reed maker."""

__version__ = "0.1.0"
