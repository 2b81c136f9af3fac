"""What all stand on and nothing here needs Django: errors, codes, canonical text, quantities, roles."""
