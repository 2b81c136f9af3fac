"""Reading a formulation that comes in as text."""
