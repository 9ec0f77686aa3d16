"""Files at the edge: one way in, with everything checked that is not about the trade, and one way out."""
