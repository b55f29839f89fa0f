"""Checks against sources outside the project; the TOML files hold the values and name them."""
