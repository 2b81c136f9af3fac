"""Doors and looks of this app: zones to pack, packs, and the papers of other records."""

from labels.api import law, looks, packing, release, sheets

__all__ = ["law", "looks", "packing", "release", "sheets"]
