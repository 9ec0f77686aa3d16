"""What is asked of a finished plan: why, what would change it, what if, how firm, what is new, what is due."""
