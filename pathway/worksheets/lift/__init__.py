"""The worksheet of lifts and prostheses between the stages."""
