"""Indicators, a reed that can be scraped and a maker to practise with, each a process of its own.

They speak bytes over a pseudo-terminal, or over Bluetooth on a private message bus, so everything
that reads them does so through the real libraries; nothing in gaugelink knows that they exist.
"""
