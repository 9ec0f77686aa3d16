"""The family's story: one model of values, one wording, from which every text for a family is made."""
