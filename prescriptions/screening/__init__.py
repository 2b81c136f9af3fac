"""The screen "patient": an order against what is known of the patient, the substance and the site.

PURE: facts in, alerts out. Every rule looks at the facts given and says nothing of what it cannot see; what depends on
the form that is made (`made_form`) is asked by the screen "making", which belongs to printing. Rules without a named
source are the house's (common practice or judgement, no source) and say so in the alert.
"""

from prescriptions.screening.rules import RULES, screen

__all__ = ["RULES", "screen"]
