"""What was done and measured: run steps, finishing, masses, verdicts, deviations."""
