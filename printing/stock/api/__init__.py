"""Doors and looks of the stock."""

from printing.stock.api import equipment, ingredient_lots, resin_lots, tank_fills

__all__ = ["equipment", "ingredient_lots", "resin_lots", "tank_fills"]
