"""The plan and the rules for record systems (FHIR R4), and leg lengths read back."""
