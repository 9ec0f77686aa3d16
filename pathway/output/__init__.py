"""Views of a plan: text, JSON, pictures. A plan in, characters or bytes out."""
