"""Uniformity of dosage units, in-process masses and residues. PURE."""
