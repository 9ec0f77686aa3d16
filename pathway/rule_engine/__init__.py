"""From findings to stages: judged conditions, published schemes, and what this child needs with which gates."""
