"""Approved master formulas, the ingredients they name, print profiles and studies."""
