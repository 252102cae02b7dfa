"""Nutrients, rates, mixing, area and growth: the arithmetic of the trade."""
