"""A plan in words: paragraphs and printed text, the same for screens and verbs."""
