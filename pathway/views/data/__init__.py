"""What `--json` prints: the plan as JSON, and the shape of everything printed."""
