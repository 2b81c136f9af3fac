"""FHIR R4 at the API: orders come in as MedicationRequest or Bundle, answers go out in FHIR's own envelopes."""
