"""From dose to printed unit: what is sized, planned, printed, finished and measured."""
