"""What a person or a program sees of a plan: words, pictures, drawings, documents, data, pages of rules."""
