"""Where children come from: case files, the registry, the examples; how one is named, and the port of the screens."""
