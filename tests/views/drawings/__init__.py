"""The drawings of a plan: icon arrays, legs to scale, the leg difference by age."""
