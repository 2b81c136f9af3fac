"""Dose orders: taken in, screened, checked by a pharmacist, and split into dose lines."""
