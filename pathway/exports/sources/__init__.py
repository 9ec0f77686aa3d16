"""The cited sources for reference managers: BibTeX and CSL-JSON."""
