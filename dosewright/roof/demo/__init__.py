"""The demo: an invented site whose people take orders the whole way, by the same services as everybody else."""
