"""Packs, labels, release, supply and recall."""
