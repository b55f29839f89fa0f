"""Tests, in rooms that mirror the ones they test; `published/` checks against outside sources."""
