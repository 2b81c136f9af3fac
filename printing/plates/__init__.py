"""Print batches: planned, laid out, written to the plate file and delivered to the printer."""
