"""Background work and facts of this app."""
