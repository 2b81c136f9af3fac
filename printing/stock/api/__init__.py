"""Doors and looks of the stock."""

from printing.stock.api import equipment, ingredient_lots, premixes, resin_lots, tank_fills

__all__ = ["equipment", "ingredient_lots", "premixes", "resin_lots", "tank_fills"]
