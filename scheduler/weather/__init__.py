"""Forecast arrays and the arithmetic on them."""
