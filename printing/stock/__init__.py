"""What is on the shelf and in the tank: lots, weighings, tests before use, wet equipment."""
