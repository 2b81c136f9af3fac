"""What this app does: packing, release, supply, and its papers."""
