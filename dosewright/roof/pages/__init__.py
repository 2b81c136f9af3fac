"""Pages: what people see and press, by person."""
